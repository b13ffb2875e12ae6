"""A cut script of the newer kind on the cylinder of `outputs_fixture`: bolts lie on a sawn face or in a cradle, on the mill and
at the band saw, without marks; set-ups have names, totals tell sets, hours and earnings, and there is a ladder of plans."""

from __future__ import annotations

import numpy as np

from unit.outputs_fixture import DENSITY, LENGTH, RADIUS, Builder, document

HEEL = 12.0
"""What a cradle measures at its low side. [mm]"""


def turned(normal, degrees):
    """A direction square to the log's axis, turned clockwise as seen facing the butt."""
    a = np.radians(degrees)
    y, z = normal[1], normal[2]
    return np.array([0.0, np.cos(a) * y - np.sin(a) * z, np.sin(a) * y + np.cos(a) * z])


class CradleBuilder(Builder):
    """Adds bolts on the mill: no marks, heights over the bed."""

    def bolt_on_mill(self, piece, up, lowest, against, support, set_up):
        """`lowest` is the least X·up of the piece, which comes to stand on the bed, or on the heel of its cradle."""
        name = self.setting(
            "mill", piece, up=list(up), roll=float(np.degrees(np.arctan2(-up[1], up[2])) % 360.0), butt_at=0.0,
            lifts=[{"bunk": 100.0, "lift": 0.0}, {"bunk": 1750.0, "lift": 0.0}], against=against, support=support, set_up=set_up,
        )  # fmt: skip
        return name, up, (HEEL if support == "cradle" else 0.0) - lowest

    def at_height(self, made, piece, offset, above, below):
        name, up, level = made
        return self.cut(name, piece, up, offset, above, below, blade_height=level + offset, width=150.0)


def cradle_script():
    """The script of the module's first line."""
    b = CradleBuilder()
    first = b.mill("log", 0.0, RADIUS + 12.0, set_up="log")
    b.level(first, "log", 8.0, ("half-a", "half"), ("rest-1", "log"))
    b.level(first, "rest-1", -8.0, ("slab-1", "slab"), ("half-b", "half"))
    second = b.mill("half-a", 90.0, 190.0, set_up="half")
    b.level(second, "half-a", 9.0, ("bolt-1", "bolt"), ("rest-2", "half"))
    b.level(second, "rest-2", -9.0, ("slab-2", "slab"), ("bolt-2", "bolt"))
    # bolt-1 lies at y < -10 over z = 9: on its face of cut c1 on the bed, then in a cradle of 22.5°
    up = np.array([0.0, 0.0, 1.0])
    bed = b.bolt_on_mill("bolt-1", up, 9.0, {"face": "c1", "angle_deg": 0.0}, "bed", "bed")
    b.at_height(bed, "bolt-1", 60.0, ("bolt-3", "bolt"), ("slab-3", "slab"))
    lean = turned(up, 22.5)
    lowest = min(float(np.array([0.0, y, 61.0]) @ lean) for y in (-10.0, -170.0))
    held = b.bolt_on_mill("bolt-3", lean, lowest, {"face": "c5", "angle_deg": 22.5}, "cradle", "cradle 22.5")
    b.at_height(held, "bolt-3", lowest + 70.0, ("bolt-5", "bolt"), ("slab-4", "slab"))
    # bolt-2 stands at the band saw in the cradle of 30°
    third = b.setting(
        "resaw", "bolt-2", support="cradle", against={"face": "c1", "angle_deg": 30.0}, set_up="cradle 30"
    )
    blade = turned(up, -30.0)
    middle = float(np.array([0.0, 90.0, 60.0]) @ blade)
    b.cut(third, "bolt-2", blade, middle, ("bolt-6", "bolt"), ("slab-5", "slab"), 1.2)
    rip = b.setting("rip", "slab-3", support="table", against={"face": "c1", "angle_deg": 90.0})
    b.cut(rip, "slab-3", [0.0, -1.0, 0.0], 30.0, ("strip-1", "slab"), ("strip-0", "offcut"), 3.2)
    b.cut(rip, "strip-1", [0.0, -1.0, 0.0], 130.0, ("strip-2", "offcut"), ("strip-3", "billet"), 3.2)
    cross = b.setting("crosscut", "strip-3", support="table", against={"face": "c1", "angle_deg": 90.0})
    for n, (at, above, below) in enumerate((
        (1900.0, ("end-2", "offcut"), ("rest-5", "billet")), (976.0, ("billet-2", "billet"), ("rest-6", "billet")),
        (969.0, ("sliver", "offcut"), ("rest-7", "billet")), (40.0, ("billet-1", "billet"), ("end-1", "offcut")),
    )):  # fmt: skip
        b.cut(cross, ("strip-3", "rest-5", "rest-6", "rest-7")[n], [1.0, 0.0, 0.0], at, above, below, 3.2)
    for billet in ("billet-1", "billet-2"):
        resaw = b.setting("resaw", billet, support="fence", against={"face": "c1", "angle_deg": 0.0})
        left = billet
        for n in (3, 2, 1):
            below = (f"{billet}-p{n - 1}" if n > 1 else f"{billet}-p0", "billet" if n > 1 else "plate")
            b.cut(resaw, left, up, 9.0 + n * 5.7 - 0.6, (f"{billet}-{n}", "plate"), below, 1.2)
            left = below[0]
    return whole(b)


def plate(name, mate, part, set_id, place):
    """A passing plate as the newer scripts tell it."""
    return {
        "id": name, "product": "small guitar", "part": part, "set_id": set_id, "mate": mate, "corner": [place, -130.0, 9.0],
        "edges": [[890.0, 0.0, 0.0], [0.0, 98.0, 0.0], [0.0, 0.0, 4.5]], "volume": 392490.0,
        "ring_angle": {"min": 78.0, "mean": 84.5}, "runout": 0.8, "slope": 2.1, "sapwood": 6.5, "figure": 1.0, "limits": "trade",
        "passes": True,
    }  # fmt: skip


def whole(b):
    """Plates, totals, ladder and inputs round the operations."""
    places = {"billet-1": 41.6, "billet-2": 977.6}
    for billet, place in places.items():
        pairs = ((f"{billet}-1", f"{billet}-2"), (f"{billet}-2", f"{billet}-1"), (f"{billet}-3", None))
        for name, mate in pairs:
            b.plates.append(
                plate(name, mate, "side", "small guitar 1" if billet == "billet-1" and mate else None, place)
            )
    script = document(b, "walnut-22")
    for one in script["operations"]:
        if one["op"] == "setting":
            one["weight_kg"] = {"log": DENSITY * np.pi * RADIUS**2 * LENGTH}.get(one["piece"], one["weight_kg"])
    for piece in script["pieces"]:
        piece["volume"] = 1.0e6
    script["inputs"]["card"] = {"sapwood": {"thickness": 24.0}}
    script["inputs"]["mill"]["mill"] |= {
        "bunks": [100.0, 650.0, 1200.0, 1750.0],
        "hour_rate": 60.0,
        "cradles_deg": [22.5, 45.0],
    }
    script["inputs"]["mill"]["resaw"] = {"cradles_deg": [30.0]}
    script["inputs"]["products"] |= {
        "currency": "EUR",
        "product": [{"name": "small guitar", "price": 150.0, "part": [
            {"name": "back", "count": 2}, {"name": "side", "count": 2}]}, {"name": "bridge", "price": 5.0, "part": [
                {"name": "bridge", "count": 1}]}],
    }  # fmt: skip
    script["totals"] |= {
        "sets": {"small guitar": 1, "bridge": 2}, "value": 160.0, "minutes": 90.0, "set_volume": 0.8e6, "loose_volume": 1.5e6,
        "loose_value": 12.0, "labour": 90.0, "earnings": 82.0, "set_ups": 5, "plates": 6, "instrument_volume": 2.3e6,
    }  # fmt: skip
    few = dict(script["totals"]) | {
        "sets": {"small guitar": 0, "bridge": 2},
        "minutes": 40.0,
        "earnings": 20.0,
        "set_ups": 2,
    }
    script["practice"] = {"slabs": few, "with_bolts": few, "ratio": 1.4, "volume_ratio": 1.2}
    script["proof"]["ladder"] = [
        {"title": "bolts left", "practice": few, **few},
        {"title": "bolts by cradle", "chosen": True, "practice": few, **script["totals"]},
    ]
    return script
