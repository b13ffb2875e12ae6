"""What the card says and the fit: marks of the pith in every form, butt, up, 12 o'clock, tape, bark; and several logs."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.errors import FitError, InputError
from pithline.logmodel import dimensions
from pithline.logmodel.card import ArmsMark, Card, LengthInScan, ScanPoint, TapeMark
from pithline.logmodel.fit import fit_log
from pithline.logmodel.model import clock_direction
from pithline.logmodel.pith_line import PithLine, pith_error
from pithline.logmodel.species import species_of
from pithline.logmodel.surface import first_surface, fit_surface
from truth.logs import true_log
from truth.samples import arms, from_left_and_top, sample_truth
from truth.scans import girth, simulate_scan


@pytest.fixture(scope="module")
def log():
    """A sample log, sawn shorter: a fit takes as long as the log is long."""
    return replace(sample_truth("af-07"), length=1000.0)


@pytest.fixture(scope="module")
def scan(log):
    return simulate_scan(log, 9, points=16_000)


def card_of(scan, **changes):
    return Card(**({"id": "w", "species": "black walnut", "scan": None, "up": "+z", "bark_thickness": 11.0} | changes))


def marked(scan, **changes):
    marks = {"pith_butt": ScanPoint(tuple(scan.pith_butt)), "pith_top": ScanPoint(tuple(scan.pith_top))}
    return card_of(scan, **(marks | changes))


def pith_miss(model, log, scan):
    """Greatest distance of the pith line from the true one. [mm]"""
    x = np.linspace(0.0, model.length, 21)
    line = np.column_stack([x, model.splines(model.pith)(x)])
    to_truth = np.linalg.inv(model.scan_to_log @ scan.truth_to_scan)
    line = line @ to_truth[:3, :3].T + to_truth[:3, 3]
    return float(np.linalg.norm(line[:, 1:] - log.pith(line[:, 0]), axis=1).max())


@pytest.fixture(scope="module")
def by_points(log, scan):
    return fit_log(scan.points, marked(scan))


def test_pith_by_scan_points(log, scan, by_points):
    assert pith_miss(by_points, log, scan) < 2.5
    assert not by_points.pith_assumed and by_points.cautions == ()
    assert by_points.stderr_pith.min() > 2.0


def test_pith_by_tape(log, scan):
    tapes = [TapeMark(*from_left_and_top(log, end)) for end in ("butt", "top")]
    model = fit_log(scan.points, card_of(scan, butt="min", pith_butt=tapes[0], pith_top=tapes[1]))
    assert pith_miss(model, log, scan) < 5.0


def test_pith_by_arms(log, scan):
    crosses = [ArmsMark(**arms(log, end)) for end in ("butt", "top")]
    model = fit_log(scan.points, card_of(scan, butt="min", pith_butt=crosses[0], pith_top=crosses[1]))
    assert pith_miss(model, log, scan) < 5.0
    wrong = ArmsMark(up=200.0, right=250.0, down=240.0, left=260.0)
    model = fit_log(scan.points, card_of(scan, butt="min", pith_butt=wrong, pith_top=crosses[1]))
    assert any("arms of the cross at the butt" in one for one in model.cautions)


def test_one_mark_holds_for_both_ends(log, scan):
    model = fit_log(scan.points, marked(scan, pith_top=None))
    offset = model.pith - model.centre
    np.testing.assert_allclose(offset, np.broadcast_to(offset[0], offset.shape), atol=1e-6)
    assert model.stderr_pith[-1] > 1.5 * model.stderr_pith[5]


def test_nothing_on_the_card(log, scan):
    model = fit_log(scan.points, card_of(scan, up=None, bark_thickness=None, species="beech"))
    assert model.pith_assumed and model.bark_assumed and model.sapwood_assumed
    np.testing.assert_allclose(model.pith, model.centre)
    share = model.radius_under_bark.mean() / model.radius_over_bark.mean()
    assert share == pytest.approx(species_of("beech").bark_ratio, abs=0.002)
    assert sum("No pith mark" in one or "No bark thickness" in one for one in model.cautions) == 2


def test_butt_by_card_and_by_marks(log, scan, by_points):
    """The heading is 37°, so that the scan's x rises from butt to top."""
    turned = fit_log(scan.points, card_of(scan, butt="max"))
    assert turned.scan_to_log[0, :3] @ by_points.scan_to_log[0, :3] < 0
    other = marked(scan, pith_butt=ScanPoint(tuple(scan.pith_top)), pith_top=ScanPoint(tuple(scan.pith_butt)))
    swapped = fit_log(scan.points, other)
    assert swapped.scan_to_log[0, :3] @ by_points.scan_to_log[0, :3] < 0
    assert swapped.length == pytest.approx(by_points.length, abs=0.5)


def test_twelve_oclock_overrules_up(log, scan, by_points):
    """Marks 30° round the log turn the frame by 30°; up disagrees, which is said."""
    turn = np.radians(30.0)
    marks = []
    for x, pith in ((0.0, by_points.butt.point), (by_points.length, by_points.top.point)):
        point = np.array([x, pith[1] - 150.0 * np.sin(turn), pith[2] + 150.0 * np.cos(turn)])
        marks.append(ScanPoint(tuple(np.linalg.solve(by_points.scan_to_log, [*point, 1.0])[:3])))
    model = fit_log(scan.points, marked(scan, twelve_butt=marks[0], twelve_top=marks[1]))
    z = model.scan_to_log[2, :3] / 1000.0
    into = by_points.scan_to_log[:3, :3] / 1000.0
    assert np.degrees(np.arctan2(-(into @ z)[1], (into @ z)[2])) == pytest.approx(30.0, abs=0.3)
    assert any("12 o'clock marks stand 30" in one for one in model.cautions)
    standing = fit_log(scan.points, marked(scan, up="+x", twelve_butt=marks[0]))
    assert standing.length == pytest.approx(by_points.length, abs=0.5)


def test_up_from_the_ground(log):
    """Without `up` the scan axis nearest the ground's normal is taken, whatever the format's own."""
    scan = simulate_scan(log, 9, points=16_000, up="+y")
    model = fit_log(scan.points, marked(scan, up=None), default_up="+z")
    assert model.scan_to_log[2, 1] > 0.99 * 1000.0
    steep = simulate_scan(log, 9, points=16_000, ground_slope_deg=20.0)
    model = fit_log(steep.points, marked(steep, up=None))
    assert any("plumb to the ground" in one for one in model.cautions)


def test_tape_that_agrees_warns_or_contradicts(log, scan):
    taped = {"tape_girth_butt": girth(log, 100.0), "tape_girth_top": girth(log, log.length - 100.0)}
    assert fit_log(scan.points, marked(scan, tape_length=log.length, **taped)).cautions == ()
    off = fit_log(scan.points, marked(scan, tape_length=1.015 * log.length))
    assert len(off.cautions) == 1 and "tape.length is 1015 mm but the scan gives 1000 mm" in off.cautions[0]
    with pytest.raises(InputError, match=r"tape\.girth_butt"):
        fit_log(scan.points, marked(scan, tape_girth_butt=1.06 * taped["tape_girth_butt"]))


def test_reference_length_scales_a_scan_without_unit(log, scan):
    marks = {"pith_butt": ScanPoint(tuple(scan.pith_butt / 2.5)), "pith_top": ScanPoint(tuple(scan.pith_top / 2.5))}
    card = card_of(scan, reference=LengthInScan(500.0, 0.2), **marks)
    model = fit_log(scan.points / 2.5, card)
    assert model.length == pytest.approx(log.length, abs=3.0)


def test_faults_of_the_card(scan):
    with pytest.raises(InputError, match="bark"):
        fit_log(scan.points, marked(scan, bark_thickness=400.0))
    far = ScanPoint(tuple(0.5 * (scan.pith_butt + scan.pith_top)))
    with pytest.raises(InputError, match=r"pith\.butt lies \d+ mm off the butt end"):
        fit_log(scan.points, marked(scan, pith_butt=far, butt="min"))


def test_an_end_that_was_not_scanned_is_square(log):
    scan = simulate_scan(log, 9, points=16_000, ends=(True, False))
    model = fit_log(scan.points, marked(scan))
    assert abs(model.top.normal[0]) > 0.99999
    assert model.length == pytest.approx(log.length, abs=25.0)
    assert any("top end face was not scanned" in one for one in model.cautions)


def test_several_logs_are_refused_or_picked(log, scan):
    other = simulate_scan(
        replace(sample_truth("af-15"), length=700.0), 4, points=14_000, ground=False, clutter=False, bearers=False
    )
    alone = simulate_scan(log, 9, points=16_000, ground=False, clutter=False, bearers=False)
    both = np.concatenate([alone.points, other.points + np.array([0.0, 2.5, 0.0])])
    with pytest.raises(FitError, match="2 logs"):
        fit_log(both, card_of(scan))
    picked = fit_log(both, card_of(scan), pick=2)
    assert picked.length == pytest.approx(700.0, abs=5.0)
    with pytest.raises(FitError, match="log 3 was picked"):
        fit_log(both, card_of(scan), pick=3)


def test_stubs_stay_in_the_envelope_and_are_listed():
    log = true_log("stubs", 6)
    scan = simulate_scan(log, 6, points=60_000)
    model = fit_log(scan.points, marked(scan, bark_thickness=log.bark))
    seen = [one for one in log.stubs if abs(np.angle(np.exp(1j * one.clock))) < 2.0]
    for stub in seen:
        near = min(model.suspected_knots, key=lambda one: abs(one.x - stub.x))
        assert abs(near.x - stub.x) < 15.0
        assert abs(np.angle(np.exp(1j * (near.clock - stub.clock)))) < np.radians(6.0)
        assert near.height == pytest.approx(stub.height, abs=5.0)
        row = int(np.argmin(np.abs(model.x - stub.x)))
        column = int(np.rint(stub.clock / np.radians(5.0))) % 72
        out = (model.envelope - model.radius_over_bark)[row, column]
        assert out == pytest.approx(stub.height, abs=5.0)
    assert len(model.suspected_knots) <= len(log.stubs)
    assert (model.envelope >= model.radius_over_bark).all()


def test_taper_and_volume_of_the_fit(log, by_points):
    assert dimensions.taper_mm_per_m(by_points) == pytest.approx(7.0, abs=0.6)
    assert dimensions.volume(by_points) == pytest.approx(log.volume_under_bark(), rel=0.01)
    assert dimensions.sweep(by_points) == pytest.approx(6.0, abs=1.5)


def test_between_its_marks_the_pith_is_doubted_as_the_outline_it_hangs_on():
    """Half the girth of a round log seen: outlines drawn by the fit's covariance, marks off by 1 mm, the offset read anew on each."""
    rng = np.random.default_rng(3)
    x, clock = rng.uniform(-50.0, 1250.0, 8000), rng.uniform(-0.5 * np.pi, 0.5 * np.pi, 8000)
    points = np.column_stack([x, (150.0 + rng.normal(0.0, 2.0, len(x)))[:, None] * clock_direction(clock)])
    ends = np.array([0.0, 1200.0])
    start = first_surface((-50.0, 1250.0), ends, np.zeros((2, 2)), np.full(2, 150.0), 4)
    surface = fit_surface(points, start, 5, 40.0)
    line = PithLine(ends, np.zeros((2, 2)), np.array([1.0, 1.0]), 150.0, 1200.0)
    stated = pith_error(line, surface)
    drawn = []
    for moved in rng.multivariate_normal(surface.coefficients.ravel(), surface.covariance, 600, method="cholesky"):
        one = replace(surface, coefficients=moved.reshape(surface.coefficients.shape))
        marks = rng.normal(0.0, 1.0, (2, 2))
        drawn.append(one.centre(surface.x) + replace(line, offset=marks - one.centre(ends)).offset_at(surface.x))
    spread = np.sqrt(np.var(drawn, axis=0).mean(axis=1))
    inside = (surface.x >= 0.0) & (surface.x <= 1200.0)
    np.testing.assert_allclose(stated[inside], spread[inside], rtol=0.1)
    middle = len(surface.x) // 2
    assert stated[middle] > 1.3 / np.sqrt(2.0)  # by the marks alone 0.7 mm
