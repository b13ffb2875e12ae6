"""Blade heights of a setting on the mill: whole steps, no slab thinner than drawn, counted from the face that carries the lowest."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.files.mills import read_mill
from pithline.plan.execute.machine_setups import _set_blades
from pithline.plan.execute.slab_faces import CLOSE_GAP, LEAST_BOARD, ParallelFace, ParallelFaces, close_gaps, fit_slabs
from pithline.plan.problem.layout import LayoutSlab

MILL = read_mill().mill
STEP, KERF = MILL.height_step, MILL.kerf
FREE = ParallelFaces(None, None)
DRAWN = st.lists(
    st.tuples(st.floats(8.0, 90.0), st.sampled_from([KERF, 2 * KERF + LEAST_BOARD + 6 * STEP, 40.0])),
    min_size=1,
    max_size=4,
)


def stack_of(drawn, low):
    """Slabs from the top down, the lowest at `low`, with the gaps drawn between them. [mm]"""
    out = []
    for thickness, gap in drawn:
        out.append(LayoutSlab(low, thickness))
        low += thickness + gap
    return tuple(reversed(out))


def in_steps(heights):
    return np.allclose(np.array(heights) / STEP, np.round(np.array(heights) / STEP))


def lies_between_its_cuts(slab, heights, height, faces):
    """Each face of a slab is one that was there, or half a kerf off a cut."""
    over = [h - height - KERF / 2 for h in heights] + ([] if faces.ceiling is None else [faces.ceiling])
    under = [h - height + KERF / 2 for h in heights] + ([] if faces.floor is None else [faces.floor])
    return min(abs(slab.top - one) for one in over) < 1e-6 and min(abs(slab.low - one) for one in under) < 1e-6


@settings(max_examples=60)
@given(DRAWN, st.floats(-80.0, 80.0), st.floats(100.0, 300.0), st.booleans(), st.booleans())
def test_no_slab_comes_out_thinner_than_drawn(drawn, low, height, rests, hangs):
    """Nor thicker than its steps make it; every face is a cut's, or was there before."""
    slabs = stack_of(drawn, low)
    faces = ParallelFaces(
        ParallelFace("under", slabs[-1].low) if rests else None, ParallelFace("over", slabs[0].top) if hangs else None
    )
    real, heights = _set_blades(slabs, faces, MILL, height)
    assert len(real) == len(slabs) and in_steps(heights) and heights == sorted(heights, reverse=True)
    assert all(lies_between_its_cuts(one, heights, height, faces) for one in real)
    took = len(slabs) * STEP * 2  # what a slab that hangs on two faces gives up to the others' steps
    for one, other in zip(real, slabs, strict=True):
        between = rests and hangs and other is slabs[0]
        assert one.thickness >= other.thickness - (took if between else 1e-6)
        assert one.thickness < other.thickness + STEP + CLOSE_GAP + 1e-6


def test_a_slab_on_a_sawn_face_by_hand():
    """A face at 10 mm stands 210 over the bed: a slab of 30 and a kerf's half make 241, and no other cut is needed."""
    faces = ParallelFaces(ParallelFace("c1", 10.0), None)
    real, heights = _set_blades((LayoutSlab(10.0, 30.0),), faces, MILL, 200.0)
    assert heights == pytest.approx([240.0 + KERF / 2]) and real[0].low == 10.0
    assert real[0].thickness == pytest.approx(30.0)
    real, heights = _set_blades((LayoutSlab(10.0, 30.0),), FREE, MILL, 200.0)
    assert heights == pytest.approx([240.0 + KERF / 2, 210.0 - KERF / 2]) and real[0].thickness == pytest.approx(30.0)


@pytest.mark.parametrize("rests", [False, True])
@pytest.mark.parametrize(
    ("gap", "thick", "cuts"),
    [
        (KERF, 30.0, 3),
        (KERF + CLOSE_GAP - 0.5, 30.0, 3),  # moved together
        (KERF + 8.0, 38.0, 3),  # a board of 6 mm stays on the lower slab
        (KERF + LEAST_BOARD + KERF - 0.5, 43.5, 3),
        (KERF + LEAST_BOARD + KERF + 0.5, 30.0, 4),
    ],
)
def test_a_thin_board_between_two_slabs_stays_on_the_lower_one(rests, gap, thick, cuts):
    """The lower slab keeps its lower face, so its plates lie where they lay; no cut frees the board."""
    upper, lower = LayoutSlab(30.0 + gap, 40.0), LayoutSlab(0.0, 30.0)
    faces = ParallelFaces(ParallelFace("under", 0.0) if rests else None, None)
    over, under = fit_slabs((upper, lower), faces, KERF, 110.0)
    assert over.thickness == 40.0 and under.thickness == pytest.approx(thick if cuts == 3 else 30.0)
    if gap >= KERF + CLOSE_GAP:
        assert (over.low, under.low) == (upper.low, lower.low)
    assert len(_set_blades((over, under), faces, MILL, 200.0)[1]) == cuts - rests


def test_a_slab_as_thick_as_the_saws_take_keeps_no_board():
    upper, lower = LayoutSlab(40.0, 40.0), LayoutSlab(0.0, 30.0)
    assert close_gaps((upper, lower), KERF, thickest=37.0) == (upper, lower)
    assert close_gaps((upper, lower), KERF, thickest=38.0)[1].thickness == pytest.approx(38.0)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.floats(8.0, 50.0), st.floats(KERF, 40.0)), min_size=2, max_size=5),
    st.floats(-80.0, 80.0),
    st.booleans(),
)
def test_no_thin_board_is_left_between_slabs(drawn, low, rests):
    slabs = stack_of(drawn, low)
    found = close_gaps(slabs, KERF, slabs[-1].low if rests else None, 110.0)
    for (over, under), slab in zip(itertools.pairwise(found), slabs[1:], strict=True):
        wasted = over.low - KERF - under.top
        assert wasted == pytest.approx(0.0, abs=1e-9) or wasted >= LEAST_BOARD + KERF - 1e-9
        assert under.thickness >= slab.thickness - 1e-9


def test_a_slab_that_the_blade_makes_thicker_takes_the_thin_board_over_it_too():
    """The blade's lowest cut makes the slab on the bed 29 mm for 22: 8 mm would be left under the next, a board of 6."""
    lowest = max(MILL.blade_min, MILL.clamp_room)
    thin = lowest - KERF / 2 - 7.0
    faces = ParallelFaces(ParallelFace("under", 0.0), None)
    over = LayoutSlab(thin + 7.0 + KERF + 8.0, 40.0)
    real, heights = _set_blades((over, LayoutSlab(0.0, thin)), faces, MILL, 0.0)
    assert len(heights) == 2 and real[1].thickness == pytest.approx(thin + 15.0)
    assert all(lies_between_its_cuts(one, heights, 0.0, faces) for one in real)
    real, heights = _set_blades((over, LayoutSlab(0.0, thin)), faces, MILL, 0.0, thickest=thin + 14.0)
    assert len(heights) == 3 and real[1].thickness == pytest.approx(thin + 7.0)
