"""Blade heights of a setting on the mill: whole steps, no slab thinner than drawn, counted from the face that carries the lowest."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pithline.files.mills import read_mill
from pithline.plan.execute.machine_setups import _set_blades
from pithline.plan.execute.slab_faces import CLOSE_GAP, ParallelFace, ParallelFaces
from pithline.plan.problem.layout import LayoutSlab

MILL = read_mill().mill
STEP, KERF = MILL.height_step, MILL.kerf
FREE = ParallelFaces(None, None)
DRAWN = st.lists(
    st.tuples(st.floats(8.0, 90.0), st.sampled_from([KERF, KERF + CLOSE_GAP + 4.0, 40.0])), min_size=1, max_size=4
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
