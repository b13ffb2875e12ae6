"""Sampled logs: nothing to doubt, nothing lost; doubts moved by what the fit says; same seed, same samples."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.evaluate.sampling import (
    pass_probabilities,
    passing_on_samples,
    sampled_field,
    sampled_log,
    sampled_logs,
)
from pithline.plan.execute.simulate import DrawnPoser, execute_layout
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import plan_log
from truth.models import to_model
from unit.small_logs import BACK, STRAIGHT, log_of, products_of, shop_of

SHOP = shop_of(products_of(BACK))
LAYOUT = LayoutSetting(0.0, (LayoutSlab(-30.0, 60.0),))


def doubtful(surface, pith):
    model = to_model(STRAIGHT)
    model = replace(
        model,
        stderr_radius=np.full_like(model.stderr_radius, surface),
        stderr_pith=np.full_like(model.stderr_pith, pith),
    )
    return plan_log(model, 20.0, 25.0, 25.0, ())


def sawn(log):
    return execute_layout(log, LAYOUT, SHOP, DrawnPoser(log, 2.0), reserve=False)


def test_a_log_without_doubt_gives_what_was_planned():
    log = log_of()
    ledger = sawn(log)
    volume = sum(plate.volume for plate in ledger.plates if plate.passes)
    assert volume > 1e6
    np.testing.assert_array_equal(passing_on_samples(log, ledger.plates, SHOP.parts, 3, 1), volume)


def test_doubts_cost_plates_and_never_add_any():
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    volume = sum(plate.volume for plate in ledger.plates if plate.passes)
    sampled = passing_on_samples(log, ledger.plates, SHOP.parts, 12, 1)
    assert (sampled <= volume + 1e-6).all()
    assert sampled.min() < volume and np.ptp(sampled) > 0


def test_a_seed_gives_its_samples_again():
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    first, again, other = (passing_on_samples(log, ledger.plates, SHOP.parts, 6, seed) for seed in (4, 4, 5))
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
            ledger = execute_layout(log, setting, SHOP, DrawnPoser(log, 2.0), reserve=reserve)
            total += passing_on_samples(log, ledger.plates, SHOP.parts, 12, 1).mean()
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


def test_chances_are_the_share_of_samples_on_which_each_plate_passes():
    log = doubtful(3.0, 6.0)
    ledger = sawn(log)
    known = {}
    share = pass_probabilities(sampled_logs(log, 12, 1), ledger.plates, SHOP.parts, known)
    volumes = np.array([plate.volume for plate in ledger.plates])
    assert 0.0 < share.min() < 1.0
    assert volumes @ share == pytest.approx(passing_on_samples(log, ledger.plates, SHOP.parts, 12, 1).mean())
    np.testing.assert_array_equal(pass_probabilities((), ledger.plates, SHOP.parts, known), share)


def test_a_reserve_for_the_pith_gains_by_where_plates_lie_and_takes_few_away():
    """What keeps little of its limits is still sawn where nothing surer takes its place."""
    log = doubtful(0.0, 5.0)
    claimed, kept = [], []
    for reserve in (True, False):
        ledgers = [
            execute_layout(
                log, LayoutSetting(clock, (LayoutSlab(low, 40.0),)), SHOP, DrawnPoser(log, 2.0), reserve=reserve
            )
            for clock, low in ((0.0, -20.0), (0.3, -12.0), (0.8, 0.0), (1.7, -30.0))
        ]
        claimed.append(sum(plate.volume for one in ledgers for plate in one.plates if plate.passes))
        kept.append(sum(passing_on_samples(log, one.plates, SHOP.parts, 16, 3).mean() for one in ledgers))
    assert claimed[0] > 0.9 * claimed[1]
    assert kept[0] > kept[1]
