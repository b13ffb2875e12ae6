"""Drawn logs and plates graded again on them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, poisson

from appraisal_by_hand import TODAY, card, known, nothing_hidden, own, trade
from pithline.files.priors import read_priors
from pithline.logmodel.card import Defect
from pithline.logmodel.model import SuspectedKnot
from pithline.plan.execute.grade import grade_plate
from pithline.wood.fit_errors import LOBES
from pithline.yard.appraisal.appraise import spread
from pithline.yard.appraisal.drawn_logs import (
    COMPONENTS,
    draw_basis,
    draw_component,
    draw_log,
    log_as_drawn,
    most_likely_draw,
)
from pithline.yard.appraisal.regrade import brings, passing
from pithline.yard.log_history import months_since


def volumes(log, priors, samples=32, near=80.0):
    """Passing volume on each drawn log. [mm³]"""
    basis, plates = draw_basis(log), own(near)
    drawn = [log_as_drawn(log, draw_log(log, priors, 1, n), basis) for n in range(samples)]
    return [brings(one, plates, trade().sold).volume for one in drawn]


def test_a_log_known_perfectly_gives_one_answer():
    priors = nothing_hidden()
    log = replace(known(priors), bark=np.zeros_like(known(priors).bark))
    got = spread(volumes(log, priors))
    assert got["p10"] == got["p90"] == 16 * 390.0 * 127 * 4 and got["error"] == 0.0


def test_the_most_likely_log_is_the_log_as_fitted():
    log = known(read_priors())
    same = log_as_drawn(log, most_likely_draw(log), draw_basis(log))
    assert np.allclose(same.field.radius, log.log.field.radius) and np.allclose(same.field.pith, log.log.field.pith)
    assert same.defects == log.log.defects


def test_draws_repeat_and_each_component_has_its_own_chance():
    priors = read_priors()
    log = known(priors, card(bark_thickness=None), {"log": {"id": "r", "species": "black walnut"}})
    first, again, other = (draw_log(log, priors, seed, 3) for seed in (1, 1, 2))
    assert np.array_equal(first["bark"], again["bark"]) and not np.array_equal(first["bark"], other["bark"])
    assert first["spiral"] == again["spiral"] != other["spiral"]
    assert set(first) == set(COMPONENTS)
    with pytest.raises(ValueError, match="no such component"):
        draw_component(log, priors, "weather", 1, 1)


@pytest.mark.parametrize("name", ["bark", "pith", "wander", "bow", "seen", "hidden"])
def test_draws_share_out_the_whole_of_a_normal(name):
    """Of each coefficient one draw in every 64th of the distribution, whatever the seed; no two in step."""
    priors = read_priors()
    log = known(priors, card(bark_thickness=None))
    for seed in (1, 2):
        drawn = np.array([np.ravel(draw_component(log, priors, name, seed, n)) for n in range(priors.sampling.samples)])
        rank = np.sort(norm.cdf(drawn), axis=0) * len(drawn)
        assert (np.floor(rank) == np.arange(len(drawn))[:, None]).all()
        off = np.abs(drawn.std(axis=0) - 1.0)  # of independent draws up to 0.2, and of 200 some by 0.3
        assert np.quantile(off, 0.95) < 0.08 and off.max() < 0.2
        tied = np.corrcoef(drawn.T) - np.eye(drawn.shape[1])
        assert np.abs(tied).max() < 0.6


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_draws_hold_as_much_that_is_rare_or_counted_as_the_priors_say(seed):
    """Counts are the quantiles of each N-th of Poisson's distribution; of what is rare as many as its share, to one draw."""
    priors = replace(read_priors(), metal_forest=0.1, rot_share=0.1, figure_share=0.1, suspected_real=0.7)
    log = known(priors)
    many, mean = priors.sampling.samples, priors.knots_per_m2 * log.bark_area

    def drawn(name, of=log):
        return [draw_component(of, priors, name, seed, n) for n in range(many)]

    for name in ("metal", "rot"):
        assert abs(sum(len(one) for one in drawn(name)) - 0.1 * many) < 1.0
    assert abs(sum(one > 1.0 for one in drawn("figure")) - 0.1 * many) < 1.0
    edges = np.arange(many + 1) / many
    counted = [("knots", mean, "", np.array([len(one) for one in drawn("knots")]))]
    checks = drawn("checks")
    counted += [
        ("checks", priors.checks_per_end, end, np.array([sum(check.end == end for check in one) for one in checks]))
        for end in ("butt", "top")
    ]
    for name, mean, end, counts in counted:
        low, high = poisson.ppf(edges[:-1], mean), poisson.ppf(edges[1:], mean)
        assert ((np.maximum(low, 0) <= np.sort(counts)) & (np.sort(counts) <= high)).all(), (name, end)
    stubs = tuple(SuspectedKnot(x, 0.3, 40.0, 12.0) for x in (300.0, 600.0, 900.0))
    stubby = replace(log, log=replace(log.log, model=replace(log.model, suspected_knots=stubs)))
    real = np.array([sum(knot.diameter == 40.0 for knot in one) for one in drawn("knots", stubby)])
    assert abs(real.mean() - 3 * 0.7) < 3.0 / many and 0.4 < real.std() < 1.2


def test_drawn_bark_has_the_spread_of_its_prior():
    priors = replace(nothing_hidden(), bark_ratio=0.03)
    log = known(priors, card(bark_thickness=None))
    basis = draw_basis(log)
    middle = len(basis.x) // 2
    found = [log_as_drawn(log, draw_log(log, priors, 1, n), basis).field.radius[middle, 0] for n in range(300)]
    # the under-bark radius is 250 mm, so 270 over bark at the species' 0.92; 3 % of that
    assert np.std(found) == pytest.approx(0.03 * 250 / 0.92, rel=0.12)
    assert np.mean(found) == pytest.approx(250, abs=2.0)


@pytest.mark.parametrize("name", ["bark_ratio", "pith_unmarked", "spiral_sd", "knots_per_m2", "pith_wander"])
def test_a_wider_prior_widens_the_interval(name):
    narrow, wide = {
        "bark_ratio": (0.01, 0.08),
        "pith_unmarked": (0.01, 0.12),
        "spiral_sd": (0.005, 0.06),
        "knots_per_m2": (0.05, 2.0),
        "pith_wander": (1.0, 30.0),
    }[name]
    spans = []
    for value in (narrow, wide):
        priors = replace(nothing_hidden(), **{name: value})
        log = known(priors, card(bark_thickness=None), {"log": {"id": "r", "species": "black walnut"}})
        got = spread(volumes(log, priors, near=110.0 if name == "bark_ratio" else 80.0))
        spans.append(got["p90"] - got["p10"])
    assert spans[1] > spans[0]


def test_regrading_agrees_with_the_grade_of_a_plan_on_a_moved_log():
    priors = replace(nothing_hidden(), pith_unmarked=0.06, bark_ratio=0.03)
    log = known(priors, card(bark_thickness=None))
    basis, plates = draw_basis(log), own(95.0)
    differ = total = 0
    for number in range(6):
        moved = log_as_drawn(log, draw_log(log, priors, 1, number), basis)
        coarse = passing(moved, plates)
        fine = [grade_plate(moved, p.corner, p.edges, trade().parts[p.part].limits).passes for p in plates.plates]
        differ += int((coarse != np.array(fine)).sum())
        total += len(fine)
    assert differ <= 0.03 * total


@pytest.mark.parametrize(
    ("defect", "lost"),
    [
        (Defect("knot", 300.0, None, 1.5 * np.pi, 60.0), "billet-0"),  # towards +y, where the plates lie
        (Defect("knot", 300.0, None, 0.5 * np.pi, 60.0), None),  # the other flank
        (Defect("check", None, "butt", 1.5 * np.pi + 0.02, None, 150.0), "billet-0"),
        (Defect("check", None, "butt", 1.5 * np.pi + 0.02, None, 80.0), None),  # ends before the plates begin
        (Defect("check", None, "top", 1.5 * np.pi + 0.02, None, 500.0), "billet-1"),
        (Defect("rot", None, "butt", None, 200.0, 200.0), "billet-0"),
        (Defect("metal", 800.0, None, 1.5 * np.pi, 190.0), "billet-1"),
    ],
)
def test_hidden_defects_take_the_plates_they_reach(defect, lost):
    log = known(nothing_hidden())
    plates = own()
    bare = log_as_drawn(log, most_likely_draw(log), draw_basis(log))
    hurt = replace(bare, defects=(defect,))
    gone = {p.billet for p, good in zip(plates.plates, passing(hurt, plates), strict=True) if not good}
    assert passing(bare, plates).all() and gone == ({lost} if lost else set())


def test_the_side_not_seen_is_taken_to_hold_as_many_stubs_as_the_other():
    priors = replace(nothing_hidden(), suspected_real=0.5)
    log = known(priors)
    stubs = tuple(SuspectedKnot(x, 0.3, 40.0, 12.0) for x in (300.0, 600.0, 900.0, 1200.0))
    dark = np.zeros_like(log.dark)
    dark[:, 150:240] = 1.0  # a quarter of the girth
    own = replace(log.log, model=replace(log.model, suspected_knots=stubs))

    def found(shade):
        return [draw_component(replace(log, log=own, dark=shade), priors, "knots", 1, n) for n in range(400)]

    bare, partly = found(np.zeros_like(dark)), found(dark)
    assert np.mean([len(one) for one in bare]) == pytest.approx(4 * 0.5, abs=0.2)
    extra = [[knot for knot in one if knot.clock != 0.3] for one in partly]
    assert [one[: len(few)] for one, few in zip(partly, bare, strict=True)] == bare
    assert np.mean([len(one) for one in extra]) == pytest.approx(4 * 0.5 / 3, abs=0.12)
    clocks = np.degrees([knot.clock for one in extra for knot in one])
    assert clocks.min() >= 150.0 and clocks.max() < 240.0


@pytest.mark.parametrize("marks", [2, 0])
def test_a_drawn_pith_errs_as_much_as_is_stated(marks):
    """Two marks err each by itself; with none the error at one end tells of the other."""
    priors = nothing_hidden()
    log = known(priors)
    log = replace(log, pith_marks=marks, pith=np.full(len(log.pith), 4.0))
    basis = draw_basis(log)
    butt, middle, top = (int(np.argmin(np.abs(basis.t - t))) for t in (-1.0, 0.0, 1.0))
    at = np.array(
        [log_as_drawn(log, draw_log(log, priors, 1, n), basis).field.pith - log.log.field.pith for n in range(400)]
    )
    if marks == 2:
        assert at[:, [butt, middle, top]].std(axis=0) == pytest.approx(np.full((3, 2), 4.0), rel=0.12)
    together = np.corrcoef(at[:, butt, 0], at[:, top, 0])[0, 1]
    assert abs(together) < 0.15 if marks == 2 else together > 0.3


def test_months_since_felling():
    assert months_since("2026-01-01", TODAY) == pytest.approx(2.96, abs=0.01)
    assert months_since("2026-05-01", TODAY) == 0.0 and months_since(None, TODAY) is None


def test_an_appraisal_shares_a_fits_error_as_a_plan_does():
    """One relation of errors for both: the bundled prior says what plans are judged on."""
    assert read_priors().scan_error == LOBES


def test_the_pith_of_a_drawn_log_hangs_on_the_side_that_was_not_seen():
    """Its bark is moved at mid-length on one side: the pith goes along by half the shift of the section's centre, as is stated."""
    log = known(nothing_hidden())
    basis = draw_basis(log)
    clock = np.radians(np.arange(361.0))
    hidden = np.outer(1.0 - basis.t**2, np.maximum(-np.cos(clock), 0.0))
    log = replace(log, hidden=6.0 * hidden, hung=np.full(len(basis.t), 0.5))
    world = most_likely_draw(log) | {"hidden": draw_component(log, nothing_hidden(), "hidden", 1, 4)}
    drawn = log_as_drawn(log, world, basis)
    moved = log.shapes.surface(world["hidden"]) * 6.0 * hidden
    # the centre of the section moves by its first harmonic, by trapezoids over the girth
    centre = np.stack([np.trapezoid(-np.sin(clock) * moved), np.trapezoid(np.cos(clock) * moved)], axis=1) * 2.0 / 360.0
    line = np.outer(1.0 - log.shapes.t, centre[0]) + np.outer(log.shapes.t, centre[-1])
    shift = drawn.field.pith - log.log.field.pith
    assert np.abs(shift).max() > 0.3
    np.testing.assert_allclose(shift, 0.5 * (centre - line), atol=1e-9)
