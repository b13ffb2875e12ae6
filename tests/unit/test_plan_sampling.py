"""Sampled logs: nothing to doubt, nothing lost; doubts moved by what the fit says; same seed, same samples."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.plan.evaluate.sampling import SampledPlates, sampled_field, sampled_logs
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.wood.field import at_points
from pithline.wood.fit_errors import error_shapes
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


def samples_of(field, count=400):
    rng, shapes = np.random.default_rng(7), error_shapes(field)
    return [sampled_field(field, rng, 0.0, shapes) for _ in range(count)]


@pytest.mark.parametrize(("surface", "pith"), [(2.5, 0.0), (0.0, 4.0), (2.5, 4.0)])
def test_samples_spread_by_the_standard_errors(surface, pith):
    """Over many samples: no bias, and surface and pith spread at every place as the fit states, at the ends as in the middle."""
    field = doubtful(surface, pith).field
    samples = samples_of(field)
    middle = len(field.pith) // 2
    clock = np.radians(40.0)
    for at in (0, 2, middle, -3):
        piths = np.array([one.pith[at] for one in samples]) - field.pith[at]
        # R is counted from the pith: the bark has moved by what R has and by what the pith has that way
        bark = np.array([one.radius[at, 40] for one in samples]) - field.radius[at, 40]
        bark += piths @ np.array([-np.sin(clock), np.cos(clock)])
        assert bark.std() == pytest.approx(surface, rel=0.1, abs=1e-9)
        assert piths.std(axis=0) == pytest.approx(np.full(2, pith), rel=0.1, abs=1e-9)
        assert abs(bark.mean()) <= 0.15 * surface + 1e-9 and abs(piths.mean()) <= 0.15 * pith


def ring_turns(field, samples, distance, at, clock):
    """How far ring normals of sampled logs turn from the fitted log's at a point, round the log and along it, (n, 2). [rad]

    By the angle that they make with two planes: one through the pith's axis there, one across the log.
    """
    e = np.array([0.0, -np.sin(clock), np.cos(clock)])
    round_, along = np.array([0.0, -np.cos(clock), -np.sin(clock)]), np.array([1.0, 0.0, 0.0])
    point = (np.array([at, 0.0, 0.0]) + distance * e)[None]
    out = []
    for one in samples:
        angles = [at_points(one, point, (e + normal) / np.sqrt(2.0))[0][0] for normal in (round_, along)]
        out.append(np.pi / 4 - np.array(angles))
    return np.array(out)


def test_ring_normals_spread_as_the_shapes_of_a_fits_error_say():
    """A straight round log, R = 150 mm, its surface known to 2 mm and its pith exactly.

    Rings are s / R(θ) constant, so that to first order their normal turns round the log by R′/R and along it by (s/R) ∂R/∂x. Of an error
    that is shared among n lobes by the squares wₙ², R′ has the variance σ² Σ n² wₙ²; of a Matérn process of order 3/2 and reach L the
    slope has 3σ²/L² (C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, section 4.2).
    """
    field = doubtful(2.0, 0.0).field
    turns = ring_turns(field, samples_of(field), 90.0, 300.0, 0.7)
    shares = np.array([0.48, 0.57, 0.35, 0.32, 0.28, 0.22, 0.17, 0.16, 0.14, 0.10]) ** 2
    lobes = np.sqrt((np.arange(10) ** 2 * shares).sum() / shares.sum())
    assert turns[:, 0].std() == pytest.approx(2.0 * lobes / 150.0, rel=0.1)
    assert turns[:, 1].std() == pytest.approx(2.0 * (90.0 / 150.0) * np.sqrt(3.0) / (3.0 * 150.0), rel=0.15)


def test_the_pith_of_a_sampled_log_goes_with_the_side_that_was_not_seen():
    """Its lower half is known to 6 mm between its ends, its pith by marks of 3 mm, and between them worse: it hangs on the outline."""
    field = doubtful(2.0, 3.0).field
    t = np.linspace(0.0, 1.0, len(field.pith))
    clock = np.radians(np.arange(361.0))
    doubt = np.outer(np.sin(np.pi * t), np.where(np.cos(clock) < 0.0, 6.0, 0.0))
    marks = 3.0 * np.hypot(1.0 - t, t)
    field = replace(field, doubt=doubt, pith_doubt=np.hypot(marks, 1.5 * np.sin(np.pi * t)))
    samples = samples_of(field)
    piths = np.array([one.pith - field.pith for one in samples])
    assert piths.std(axis=0).mean(axis=1) == pytest.approx(field.pith_doubt, rel=0.1)
    middle = len(t) // 2
    down = np.array([one.radius[middle, 180] for one in samples]) - field.radius[middle, 180] - piths[:, middle, 1]
    bows = piths[:, middle] - 0.5 * (piths[:, 0] + piths[:, -1])
    assert np.corrcoef(down, bows[:, 1])[0, 1] < -0.6  # bark that lies lower takes the pith down
    assert abs(np.corrcoef(down, bows[:, 0])[0, 1]) < 0.2
    # two marks err each by itself
    assert abs(np.corrcoef(piths[:, 0, 0], piths[:, -1, 0])[0, 1]) < 0.2


def test_the_surface_stays_put_where_only_the_pith_moves():
    """R is counted from the pith: a moved pith changes R and nothing of the bark, to first order."""
    log = doubtful(0.0, 4.0)
    one = sampled_logs(log, 1, 2)[0].field
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
