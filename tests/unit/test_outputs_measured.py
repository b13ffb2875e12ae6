"""What shop cuts are measured from, against distances worked by hand on planes of a cylinder log."""

import numpy as np
import pytest

from pithline.outputs.reading import Script
from pithline.outputs.sheet.measured import Reference, from_fence, rip_distances, rip_reference, ticked_settings
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
    reading = Script(document(b, "hand"))
    return reading, next(one for one in reading.settings if one["tool"] == "rip")


def test_a_square_sawn_edge_is_measured_from():
    reading, rip = slab_of_a_half(SQUARE)
    reference = rip_reference(reading, rip)
    assert reference == Reference("face", "c1")
    # the edge lies half the mill's kerf, 1 mm, over the pith; the rip's near side half of 3.2 mm short of 20
    assert rip_distances(reading, rip, reference, reading.cuts_of(rip)[0]) == pytest.approx((20 - 1 - 1.6,) * 2)
    assert not ticked_settings(reading, [one for one in reading.settings if one["tool"] == "mill"])


def test_a_slanted_sawn_edge_is_measured_from_its_upper_arris():
    reading, rip = slab_of_a_half(SLANTED, rip_at=-60.0, heights=(-30.0, -80.0))
    reference = rip_reference(reading, rip)
    assert reference == Reference("arris", "c1", "upper")
    # z = 1 meets -sin 60° y + cos 60° z = -31; to the right it stands at -cos 60° y - sin 60° z
    sine, cosine = np.sin(np.pi / 3), 0.5
    arris = cosine * (-31.0 - cosine) / sine - sine
    assert rip_distances(reading, rip, reference, reading.cuts_of(rip)[0]) == pytest.approx((arris + 60.0,) * 2)


def test_a_slab_that_holds_its_ticks_is_ripped_by_them():
    reading, rip = slab_of_a_half(SLANTED)
    reference = rip_reference(reading, rip)
    assert reference == Reference("ticks")
    assert rip_distances(reading, rip, reference, reading.cuts_of(rip)[0]) == pytest.approx((-20.0, -20.0))
    assert len(ticked_settings(reading, [one for one in reading.settings if one["tool"] == "mill"])) == 1


def test_a_face_that_another_cut_took_away_is_not_measured_from():
    reading, rip = slab_of_a_half(SLANTED, rip_at=30.0)
    strip = reading.cuts_of(rip)[0]["below"]
    again = {**rip, "id": "again", "piece": strip}
    reading._by_setting["again"] = [{**reading.cuts_of(rip)[0], "offset": -60.0, "piece": strip}]
    reference = rip_reference(reading, again)
    assert reference == Reference("face", reading.cuts_of(rip)[0]["id"])
    near = rip_distances(reading, again, reference, reading.cuts_of(again)[0])
    assert near == pytest.approx((30.0 - 1.6 + 60.0 - 1.6,) * 2)


def test_a_cut_square_to_the_face_against_the_fence_has_no_fence_distance():
    reading, rip = slab_of_a_half(SQUARE)
    assert from_fence(reading, rip, reading.cuts_of(rip)[0]) is None
