"""Sampled logs: nothing to doubt, nothing lost; doubts moved by what the fit says; same seed, same samples."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.evaluate.sampling import SampledPlates, sampled_field, sampled_log, sampled_logs
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from unit.small_logs import BACK, STRAIGHT, carried_out, doubtful, log_of, products_of, shop_of

SHOP = shop_of(products_of(BACK))
LAYOUT = LayoutSetting(0.0, (LayoutSlab(-30.0, 60.0),))


def sawn(log):
    return carried_out(log, LAYOUT, SHOP, reserve=False)


def sampled_volumes(log, plates, samples, seed):
    """Volume that passes on each of some sampled logs. [mm³]"""
    volumes = np.array([plate.volume for plate in plates])
    return SampledPlates(sampled_logs(log, samples, seed), SHOP.parts).passing(plates) @ volumes


def test_a_log_without_doubt_gives_what_was_planned():
    log = log_of()
    ledger = sawn(log)
    volume = sum(plate.volume for plate in ledger.plates if plate.passes)
    assert volume > 1e6
    np.testing.assert_array_equal(sampled_volumes(log, ledger.plates, 3, 1), volume)


def test_doubts_cost_plates_and_never_add_any():
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    volume = sum(plate.volume for plate in ledger.plates if plate.passes)
    sampled = sampled_volumes(log, ledger.plates, 12, 1)
    assert (sampled <= volume + 1e-6).all()
    assert sampled.min() < volume and np.ptp(sampled) > 0


def test_a_seed_gives_its_samples_again():
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    first, again, other = (sampled_volumes(log, ledger.plates, 6, seed) for seed in (4, 4, 5))
    np.testing.assert_array_equal(first, again)
    assert (first != other).any()


def test_a_reserve_for_the_surface_gives_more_in_the_end():
    """Over several slabs: one alone may lie well by luck without a reserve."""
    log = doubtful(3.0, 0.0)
    totals = []
    for reserve in (True, False):
        total = 0.0
        for clock, low, thick in ((0.0, -20.0, 40.0), (0.3, -20.0, 40.0), (0.8, 5.0, 30.0), (1.7, -30.0, 60.0)):
            setting = LayoutSetting(clock, (LayoutSlab(low, thick),))
            ledger = carried_out(log, setting, SHOP, reserve=reserve)
            total += sampled_volumes(log, ledger.plates, 12, 1).mean()
        totals.append(total)
    assert totals[0] > 1.03 * totals[1]


@pytest.mark.parametrize(("surface", "pith"), [(2.5, 0.0), (0.0, 4.0)])
def test_samples_spread_by_the_standard_errors(surface, pith):
    """Over many samples: no bias, and the spread of each radius and of the pith is what the fit states."""
    field = doubtful(surface, pith).field
    rng = np.random.default_rng(7)
    samples = [sampled_field(field, rng) for _ in range(150)]
    middle = len(field.pith) // 2
    for at in (2, middle, -3):
        radii = np.array([one.radius[at, 40] for one in samples]) - field.radius[at, 40]
        piths = np.array([one.pith[at, 0] for one in samples]) - field.pith[at, 0]
        spread = max(surface, pith)
        assert abs(radii.mean()) < 0.4 * spread
        # a linear drift along the log spreads by a half to twice the stated error from its middle to its ends
        assert 0.5 * spread < radii.std() < 1.8 * spread
        assert piths.std() < 1.8 * pith + 1e-9 and piths.std() >= 0.5 * pith
        assert abs(piths.mean()) < 0.4 * spread


def test_the_surface_stays_put_where_only_the_pith_moves():
    """R is counted from the pith: a moved pith changes R and nothing of the bark, to first order."""
    log = doubtful(0.0, 4.0)
    one = sampled_log(log, np.random.default_rng(2)).field
    clock = np.radians(np.arange(361.0))
    e = np.stack([-np.sin(clock), np.cos(clock)], axis=1)
    surface = one.pith[:, None] + one.radius[..., None] * e
    away = np.hypot(surface[..., 0], surface[..., 1])
    np.testing.assert_allclose(away, STRAIGHT.radius, atol=1.0)


def test_plates_are_judged_on_each_log_by_itself_and_once():
    log = doubtful(3.0, 6.0)
    plates = sawn(log).plates
    judged = SampledPlates(sampled_logs(log, 12, 1), SHOP.parts)
    passing = judged.passing(plates)
    assert passing.shape == (12, len(plates)) and 0.0 < passing.mean(axis=0).min() < 1.0
    for row, one in zip(passing, judged.logs, strict=True):
        alone = SampledPlates((one,), SHOP.parts).passing(plates)
        np.testing.assert_array_equal(alone, row[None])
    other = SampledPlates((log,) * 12, SHOP.parts, judged.known)  # what is known is not judged again
    np.testing.assert_array_equal(other.passing(plates), passing)


def test_a_plate_that_fails_on_the_fitted_log_passes_on_none():
    log = log_of()
    plates = sawn(log).plates
    failed = [replace(plate, grade=replace(plate.grade, passes=False)) for plate in plates]
    judged = SampledPlates(sampled_logs(log, 3, 1), SHOP.parts)
    assert judged.passing(plates).all() and not judged.passing(failed).any()


def test_a_reserve_for_the_pith_gains_by_where_plates_lie_and_takes_few_away():
    """What keeps little of its limits is still sawn where nothing surer takes its place."""
    log = doubtful(0.0, 5.0)
    claimed, kept = [], []
    for reserve in (True, False):
        ledgers = [
            carried_out(log, LayoutSetting(clock, (LayoutSlab(low, 40.0),)), SHOP, reserve=reserve)
            for clock, low in ((0.0, -20.0), (0.3, -12.0), (0.8, 0.0), (1.7, -30.0))
        ]
        claimed.append(sum(plate.volume for one in ledgers for plate in one.plates if plate.passes))
        kept.append(sum(sampled_volumes(log, one.plates, 16, 3).mean() for one in ledgers))
    assert claimed[0] > 0.9 * claimed[1]
    assert kept[0] > kept[1]
