"""A real stem's section made into hard cases by known maps: halves, hidden girth, a bend, another size (see SOURCE.md)."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pithline.logmodel.card import Card
from pithline.logmodel.fit import fit_log
from truth import stems

HERE = Path(__file__).parent
TWO_ERRORS = 2.0


def fitted(stem):
    return fit_log(stem.points, Card(stem.name, "black walnut", None, scan_units="mm", up="+z"))


@pytest.fixture(scope="module")
def section():
    return stems.from_files("a", HERE / "stem-a-section.ply", HERE / "stem-a-section.reference.csv")


@pytest.fixture(scope="module")
def whole(section):
    return fitted(section)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def test_the_section_within_its_errors(section, whole):
    found = stems.judged(section, whole, whole.scan_to_log)
    assert rms(found.centre) < 4.0 and rms(found.radius) < 3.0
    assert found.off_by() < TWO_ERRORS


@pytest.mark.parametrize("which", [0, 1])
def test_halves_of_the_points_within_their_errors(section, which):
    half = stems.halves(section, 1)[which]
    model = fitted(half)
    found = stems.judged(half, model, model.scan_to_log)
    assert found.off_by() < 3.0


@pytest.mark.parametrize(("hidden", "about"), [(90.0, 2.0), (120.0, 0.5), (180.0, 2.0)])
def test_hidden_girth_within_its_errors(section, hidden, about):
    stem = stems.hidden(section, hidden, about)
    model = fitted(stem)
    found = stems.judged(stem, model, model.scan_to_log)
    assert rms(found.z_surface[found.hidden]) < 1.5
    assert found.off_by() < TWO_ERRORS
    # and the errors are not so wide that they say nothing
    inside = (model.x > 0.0) & (model.x < model.length)
    assert rms(model.stderr_radius[inside]) < 0.13 * section.radius


@pytest.mark.parametrize("factor", [1.25, 2.0])
def test_a_copy_of_another_size_is_fitted_alike(section, whole, factor):
    other = stems.scaled(section, factor)
    model = fitted(other)
    found = [stems.judged(*one) for one in ((section, whole, whole.scan_to_log), (other, model, model.scan_to_log))]
    assert rms(found[1].centre) / factor == pytest.approx(rms(found[0].centre), abs=1.0)
    assert rms(found[1].radius) / factor == pytest.approx(rms(found[0].radius), abs=0.5)


def test_a_known_bend_is_followed(section):
    stem = stems.bent(section, 25.0, 1.0)
    model = fitted(stem)
    found = stems.judged(stem, model, model.scan_to_log)
    assert rms(found.centre) < 4.0 and found.off_by() < TWO_ERRORS


def test_two_passes_that_do_not_meet_are_never_silent(section):
    stem = stems.in_two_layers(section, 24.0, 1.0)
    model = fitted(stem)
    found = stems.judged(stem, model, model.scan_to_log)
    assert found.off_by() < 3.0 or model.findings
    assert any(one.kind == "layers" for one in model.findings)


def test_the_judge_of_these_tests_sees_an_outline_that_is_off(section, whole):
    """The judge itself: a model moved by 12 mm is off by more than it states."""
    moved = replace(whole, centre=whole.centre + np.array([12.0, 0.0]))
    assert stems.judged(section, moved, whole.scan_to_log).off_by() > 3.0
