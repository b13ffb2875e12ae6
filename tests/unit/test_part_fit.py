"""Why a part does not fit: synthetic cylinders against arithmetic by hand."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.files.mills import read_mill
from pithline.mill.products import Limits, Part
from pithline.plan.evaluate.part_fit import Why, misfit, misfits, nearest_place, plate_room, plural
from pithline.plan.problem.infeasible import no_part_fits
from pithline.plan.problem.parts import sawn_parts
from truth.logs import TrueLog
from unit.small_logs import SPECIES, STRAIGHT, TRADE, log_of, products_of

MACHINES = read_mill()
# 600 mm long, trims 25 mm: 550 mm clear; radius under bark 150 mm, the pith's circle 20 mm; 1.5 mm are kept under the bark
LOG = log_of(STRAIGHT)


def part_of(length=400.0, width=110.0, thickness=5.0, limits=TRADE, name="back", demand=None):
    return sawn_parts(
        products_of(Part(name, 1, length, width, thickness, False), limits=limits, demands=[demand]), SPECIES
    )[0]


def test_a_part_that_fits_is_not_told_of():
    """20 + 110 + 1.5 = 131.5 of 150 mm."""
    assert misfit((LOG,), part_of(), MACHINES) is None


def test_a_wide_back_by_hand():
    """20 + 140 + 1.5 = 161.5 mm, where there are 150 all round."""
    found = misfit((LOG,), part_of(width=140.0), MACHINES)
    assert found.why is Why.ROOM and not found.somewhere
    assert found.needs == pytest.approx(161.5, abs=0.1) and found.has == pytest.approx(150.0, abs=0.3)
    assert found.sentence.startswith(
        "140 mm backs need 162 mm from pith to bark; this log has 150 mm on average, 150 mm at "
    )


def test_sapwood_kept_out_needs_room():
    """20 + 110 + 30 + 1.5 = 161.5; along one edge 18 of the 30 may show: 143.5 fit."""
    log = log_of(replace(STRAIGHT, sapwood=30.0))
    none = misfit((log,), part_of(limits=replace(TRADE, sapwood="none")), MACHINES)
    assert none.needs == pytest.approx(161.5, abs=0.1)
    assert "162 mm from pith to bark, 30 mm of it sapwood that must stay out; " in none.sentence
    assert misfit((log,), part_of(limits=replace(TRADE, sapwood="edge", sapwood_edge=18.0)), MACHINES) is None


def test_a_pith_off_centre_leaves_room_on_one_side():
    """The pith 20 mm low: 170 mm at 12 o'clock, where 145 + 20 + 1.5 = 166.5 fit, at cos θ ≥ 0.84 or 18 % of the clock angles."""
    log = log_of(replace(STRAIGHT, pith_butt=(0.0, -20.0), pith_top=(0.0, -20.0)))
    found = misfit((log,), part_of(width=145.0), MACHINES)
    assert found.somewhere and found.has == pytest.approx(170.0, abs=0.3)
    mean = np.mean([20 * np.cos(t) + np.sqrt(150**2 - (20 * np.sin(t)) ** 2) for t in np.radians(np.arange(0, 360, 5))])
    assert found.mean == pytest.approx(mean, abs=0.3)
    assert found.sentence == (
        f"145 mm backs need 167 mm from pith to bark; this log has {mean:.0f} mm on average, 170 mm at 12 o'clock, where alone they fit."
    )
    assert misfit((log,), part_of(width=160.0), MACHINES).somewhere is False


def test_what_is_too_long_or_more_than_the_saws_take():
    long = misfit((LOG,), part_of(length=820.0, width=60.0, thickness=60.0, name="neck block"), MACHINES)
    assert long.why is Why.LENGTH
    assert long.sentence == "820 mm neck blocks: the clear length is 550 mm, 270 mm too little."
    assert misfit((LOG,), part_of(width=120.0, thickness=115.0), MACHINES).why is Why.THICKNESS
    assert misfit((LOG,), part_of(width=310.0), MACHINES).why is Why.WIDTH


def test_a_bowed_pith_takes_from_the_room_its_own_way_alone():
    """A bow of 30 mm over 600 rises 30 × (1 − (200/300)²) = 16.7 mm less at 100 mm from the ends than in the middle."""
    log = log_of(TrueLog("bowed", 600.0, 150.0, taper=0.0, bark=8.0, sweep=30.0, sweep_clock=0.0))
    seen = plate_room(log, 400.0)
    middle = int(np.argmin(np.abs(seen.starts - 100.0)))
    bow = 30.0 * (200.0 / 300.0) ** 2
    assert seen.room[middle, 0] == pytest.approx(150.0 - bow, abs=1.0)
    assert seen.room[middle, 36] == pytest.approx(150.0 - bow, abs=1.0)
    assert seen.room[middle, 18] == pytest.approx(150.0, abs=1.0)


def test_a_flat_sawn_part_lies_over_the_pith():
    """100 mm wide, nowhere steeper than 45° less 2 in reserve: its mid-plane lies 50 / tan 43° = 53.6 mm over the pith."""
    flat = Limits("flat", 0.0, 0.0, np.radians(6), ring_angle_max=np.radians(45))
    place = nearest_place(part_of(width=100.0, thickness=8.0, limits=flat), 20.0)
    assert place.inner == -50.0 and place.height == pytest.approx(54.0)
    assert place.radius == pytest.approx(np.hypot(50.0, 54.0 + 4.0))
    assert misfit((LOG,), part_of(width=100.0, thickness=8.0, limits=flat), MACHINES) is None


def test_a_rift_part_lies_beside_it():
    """Ring angles 30 to 60°, 2 in reserve: from h tan 32° to h tan 58° there are 100 mm where h = 102.5."""
    rift = Limits("rift", np.radians(30), np.radians(35), np.radians(4), ring_angle_max=np.radians(60))
    place = nearest_place(part_of(width=100.0, thickness=8.0, limits=rift), 20.0)
    height = 100.0 / (np.tan(np.radians(58)) - np.tan(np.radians(32)))
    assert place.height == pytest.approx(height, abs=2.0)
    assert place.inner == pytest.approx(place.height * np.tan(np.radians(32)), abs=0.1)


def test_limits_that_no_ring_allows():
    never = Limits("never", np.radians(60), np.radians(62), np.radians(4), ring_angle_max=np.radians(63))
    found = misfit((LOG,), part_of(limits=never), MACHINES)
    assert found.why is Why.GRAIN and found.sentence == "110 mm backs: no log has a place that keeps their limits."


def test_room_enough_but_spiral_grain():
    """Fibres turned 5° about the pith leave a quartered face at 5°."""
    log = log_of(replace(STRAIGHT, spiral=np.radians(5.0)))
    found = misfit((log,), part_of(), MACHINES)
    assert found.why is Why.GRAIN and not found.somewhere
    assert "150 mm from pith to bark at " in found.sentence
    assert found.sentence.endswith("fibres leave the face there at 5.0° where 3.0° is the most.")


def test_where_a_search_saw_a_place_nothing_is_told():
    log = log_of(replace(STRAIGHT, spiral=np.radians(5.0)))
    assert misfits((log,), (part_of(),), MACHINES, (True,)) == ()


def test_what_is_not_wanted_is_passed_over():
    assert misfits((LOG,), (part_of(width=140.0, demand=0),), MACHINES, (False,)) == ()


def test_of_shorter_logs_the_best_counts():
    wider = log_of(replace(STRAIGHT, radius=170.0))
    assert misfit((LOG, wider), part_of(width=140.0), MACHINES) is None
    assert "of the longest shorter log is 550 mm" in misfit((LOG, wider), part_of(length=600.0), MACHINES).sentence


@pytest.mark.parametrize(("name", "many"), [("back", "backs"), ("body half", "body halves"), ("bass", "bass")])
def test_plurals(name, many):
    assert plural(name) == many


def test_a_refusal_counts_the_sapwood_that_is_kept_out():
    """Of 150 − 20 = 130 mm 30 are sapwood, so 110 mm find 100."""
    none = part_of(limits=replace(TRADE, sapwood="none"))
    told = str(no_part_fits(log_of(replace(STRAIGHT, sapwood=30.0)), (none,)))
    assert (
        "the widest radial run is 130 mm" in told
        and "needs 110 mm beside 30 mm of sapwood; choose a narrower part" in told
    )
