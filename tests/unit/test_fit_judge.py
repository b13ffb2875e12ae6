"""The fit judges itself: what noise and bark cannot be is told; sound fits are left alone; failures are refused."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.errors import FitError
from pithline.logmodel.card import Card, ScanPoint
from pithline.logmodel.document import model_from_json, model_to_json
from pithline.logmodel.fit import fit_log
from pithline.logmodel.judge import judge, verdict
from pithline.logmodel.laid_log import find_scene, lay_into_log_frame
from pithline.logmodel.model import FitFinding
from pithline.logmodel.outline_fit import fit_outline
from truth.samples import sample_truth
from truth.scans import simulate_scan
from unit.test_fit import card_of


@pytest.fixture(scope="module")
def log():
    """A sample log, sawn shorter: a fit takes as long as the log is long."""
    return replace(sample_truth("af-07"), length=1200.0)


@pytest.fixture(scope="module")
def scan(log):
    return simulate_scan(log, 9, points=20_000)


@pytest.fixture(scope="module")
def fitted(log, scan):
    card = card_of(log, scan)
    laid = lay_into_log_frame(find_scene(scan.points, card, "+z", None), card)
    return fit_outline(laid)


def kinds(model):
    return [one.kind for one in model.findings]


def test_a_sound_fit_is_left_alone(log, scan):
    model = fit_log(scan.points, card_of(log, scan))
    assert model.verdict == "sound" and model.findings == ()


def test_an_outline_that_is_off_is_told_where_it_is(fitted):
    surface = fitted.surface
    off = surface.miss.copy()
    rows = slice(len(surface.x) // 2, len(surface.x) // 2 + 15)
    off[rows, 14:23] += 9.0
    (found,) = [
        one for one in judge(replace(surface, miss=off), fitted.points, fitted.stubs, None) if one.kind == "outline"
    ]
    assert found.size == pytest.approx(9.0, abs=1.5)
    assert np.degrees(found.clock) == pytest.approx(18 * 5, abs=20) and "3 o'clock" in found.words
    assert surface.x[rows][0] - 50.0 < found.x < surface.x[rows][-1] + 50.0


def test_points_that_do_not_hang_together_are_refused(fitted):
    rng = np.random.default_rng(3)
    own = fitted.points.copy()
    own[:, 1:] *= rng.uniform(0.4, 1.6, (len(own), 1))
    with pytest.raises(FitError, match="does not settle"):
        judge(fitted.surface, own, fitted.stubs, None)


def two_passes(scan, log, apart):
    """The scan as two passes see it that do not meet: half of its bark, all round, moved by `apart`. [mm]"""
    rng = np.random.default_rng(5)
    into = np.linalg.inv(scan.truth_to_scan)
    own = scan.points @ into[:3, :3].T + into[:3, 3]
    within = (own[:, 0] > 40.0) & (own[:, 0] < log.length - 40.0) & (own[:, 2] > -0.5 * log.over_bark_radius(0.0, 0.0))
    second = within & (rng.random(len(own)) < 0.5)
    own[second] += np.array([0.0, apart, 0.0])
    return own @ scan.truth_to_scan[:3, :3].T + scan.truth_to_scan[:3, 3]


def test_two_layers_of_one_bark_are_told(log, scan):
    model = fit_log(two_passes(scan, log, 22.0), card_of(log, scan))
    assert "layers" in kinds(model) and model.verdict != "sound"
    found = next(one for one in model.findings if one.kind == "layers")
    assert 12.0 < found.size < 30.0 and found.words in model.cautions


def test_little_girth_asks_for_more(log):
    scan = simulate_scan(log, 9, points=26_000, hidden_deg=215.0, bearers=False, clutter=False)
    model = fit_log(scan.points, card_of(log, scan))
    found = next(one for one in model.findings if one.kind == "girth")
    assert found.size < 0.5 and "Scan the other side too" in found.words and found.words in model.cautions


def test_a_swapped_pair_of_marks_is_told():
    """By the taper, so on a log of some length."""
    log = sample_truth("af-07")
    scan = simulate_scan(log, 9, points=20_000)
    card = card_of(log, scan)
    swapped = replace(
        card, butt=None, pith_butt=ScanPoint(tuple(scan.pith_top)), pith_top=ScanPoint(tuple(scan.pith_butt))
    )
    right = replace(
        card, butt=None, pith_butt=ScanPoint(tuple(scan.pith_butt)), pith_top=ScanPoint(tuple(scan.pith_top))
    )
    assert "butt" in kinds(fit_log(scan.points, swapped)) and "butt" not in kinds(fit_log(scan.points, right))


def test_verdicts():
    off = FitFinding("outline", 100.0, 0.0, 9.0, "Off.")
    assert verdict((), 200.0) == "sound"
    assert verdict((off,), 200.0) == "look here"
    assert verdict((replace(off, size=30.0),), 200.0) == "scan again"
    assert verdict((FitFinding("girth", 0.0, 0.0, 0.2, "Little."),), 200.0) == "scan again"
    assert verdict((FitFinding("butt", 0.0, 0.0, 0.0, "Which?"),), 200.0) == "sound"


def test_the_document_keeps_what_was_found(log):
    scan = simulate_scan(log, 9, points=14_000, ends=(False, True))
    model = fit_log(scan.points, Card("w", "black walnut", None, up="+z"))
    told = replace(model, findings=(FitFinding("outline", 100.0, 0.5, 9.0, "Off."),), verdict="look here")
    again = model_from_json(model_to_json(told))
    assert again.verdict == "look here" and again.findings[0].words == "Off."
    assert again.stderr_length == pytest.approx(model.stderr_length, abs=1e-3)
    assert 10.0 <= model.stderr_length < 30.0
    assert dict(again.removed).keys() >= {"beyond butt", "beyond top"}
    assert any("butt end face was not scanned" in one and "give or take" in one for one in model.cautions)
