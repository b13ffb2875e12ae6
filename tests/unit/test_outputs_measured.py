"""What shop cuts are measured from, against distances worked by hand on planes of a cylinder log."""

from dataclasses import replace

import numpy as np
import pytest

from pithline.outputs.cut_script.document import Saw
from pithline.outputs.cut_script.shop_measures import MeasuredFrom, Reference
from pithline.outputs.print_job import print_job
from unit.outputs_fixture import Builder, document

SQUARE, SLANTED = 90.0, 60.0


def slab_of_a_half(roll_deg, rip_at=-20.0, heights=(80.0, 30.0)):
    """A log halved at its pith, the upper half turned to `roll_deg`, a slab of it between `heights` ripped."""
    b = Builder()
    first = b.mill("log", 0.0, 204.0)
    b.level(first, "log", 0.0, ("half-a", "half"), ("half-b", "half"))
    second = b.mill("half-a", roll_deg, 180.0)
    b.level(second, "half-a", heights[0], ("bolt-1", "bolt"), ("rest-1", "half"))
    face = b.level(second, "rest-1", heights[1], ("slab-1", "slab"), ("bolt-2", "bolt"))
    up = np.array(second[1])
    right = np.cross(up, [-1.0, 0.0, 0.0])
    rip = b.setting("rip", "slab-1", support="table", against={"face": face, "angle_deg": 90.0})
    b.cut(rip, "slab-1", right, rip_at, ("strip-1", "billet"), ("strip-2", "billet"), 3.2)
    job = print_job(document(b, "hand"))
    return job.shop, next(one for one in job.log.settings if one.tool is Saw.RIP)


def test_a_square_sawn_edge_is_measured_from():
    shop, rip = slab_of_a_half(SQUARE)
    reference = shop.rip_references[rip.id]
    assert reference == Reference(MeasuredFrom.FACE, "c1")
    # the edge lies half the mill's kerf, 1 mm, over the pith; the rip's near side half of 3.2 mm short of 20
    assert shop.rip_distances(rip, reference, shop.log.cuts_of(rip)[0]) == pytest.approx((20 - 1 - 1.6,) * 2)
    assert not shop.ticked_settings([one for one in shop.log.settings if one.tool is Saw.MILL])


def test_a_slanted_sawn_edge_is_measured_from_its_upper_arris():
    shop, rip = slab_of_a_half(SLANTED, rip_at=-60.0, heights=(-30.0, -80.0))
    reference = shop.rip_references[rip.id]
    assert reference == Reference(MeasuredFrom.ARRIS, "c1", "upper")
    # z = 1 meets -sin 60° y + cos 60° z = -31; to the right it stands at -cos 60° y - sin 60° z
    sine, cosine = np.sin(np.pi / 3), 0.5
    arris = cosine * (-31.0 - cosine) / sine - sine
    assert shop.rip_distances(rip, reference, shop.log.cuts_of(rip)[0]) == pytest.approx((arris + 60.0,) * 2)


def test_a_slab_that_holds_its_ticks_is_ripped_by_them():
    shop, rip = slab_of_a_half(SLANTED)
    reference = shop.rip_references[rip.id]
    assert reference == Reference(MeasuredFrom.TICKS)
    assert shop.rip_distances(rip, reference, shop.log.cuts_of(rip)[0]) == pytest.approx((-20.0, -20.0))
    assert len(shop.ticked_settings([one for one in shop.log.settings if one.tool is Saw.MILL])) == 1


def test_a_face_that_another_cut_took_away_is_not_measured_from():
    shop, rip = slab_of_a_half(SLANTED, rip_at=30.0)
    first = shop.log.cuts_of(rip)[0]
    again, cut = replace(rip, id="again", piece=first.below), replace(first, offset=-60.0, piece=first.below)
    reference = shop.rip_reference(again, [cut])
    assert reference == Reference(MeasuredFrom.FACE, first.id)
    near = shop.rip_distances(again, reference, cut)
    assert near == pytest.approx((30.0 - 1.6 + 60.0 - 1.6,) * 2)


def test_a_cut_square_to_the_face_against_the_fence_has_no_fence_distance():
    shop, rip = slab_of_a_half(SQUARE)
    assert shop.from_fence(rip, shop.log.cuts_of(rip)[0]) is None
