"""A small but complete cut script of a cylinder log: one slab, two halves turned a quarter, one bolt fanned."""

from __future__ import annotations

import numpy as np

from pithline.script.document import crayon_marks

LENGTH, RADIUS, BARK = 2000.0, 200.0, 15.0
DENSITY = 9.69e-7  # kg/mm³, walnut heartwood


def model(pith=(12.0, -8.0), tilt=0.02):
    """A straight cylinder with the pith off its centre and ends out of square."""
    stations = [
        {
            "x": float(x),
            "centre": [-pith[0], -pith[1]],
            "pith": [0.0, 0.0],
            "radius_over_bark": [RADIUS] * 72,
            "radius_under_bark": [RADIUS - BARK] * 72,
            "envelope": [RADIUS + 4.0] * 72,
            "coverage": 0.8,
            "stderr": {"centre": 1.0, "pith": 1.5, "radius": [2.0] * 72},
        }
        for x in np.arange(-50.0, LENGTH + 51.0, 25.0)
    ]
    butt, top = np.array([-1.0, tilt, 0.01]), np.array([1.0, 0.0, tilt])
    return {
        "format": "pithline-log-model",
        "version": 1,
        "scan_to_log": np.eye(4).tolist(),
        "length": LENGTH,
        "ends": {
            "butt": {"point": [0.0, 0.0, 0.0], "normal": (butt / np.linalg.norm(butt)).tolist()},
            "top": {"point": [LENGTH, 0.0, 0.0], "normal": (top / np.linalg.norm(top)).tolist()},
        },
        "stations": stations,
        "sweep": 0.0,
        "taper_mm_per_m": 0.0,
        "ovality": 0.0,
        "volume_over_bark": np.pi * RADIUS**2 * LENGTH,
        "volume_under_bark": np.pi * (RADIUS - BARK) ** 2 * LENGTH,
        "coverage": 0.8,
        "suspected_knots": [],
        "removed": {},
    }


class Builder:
    """Collects operations and pieces."""

    def __init__(self):
        self.operations, self.plates = [], []
        self.pieces = [{"id": "log", "mark": "L", "kind": "log", "made_by": None, "volume": 1.0}]
        self.count = 0

    def setting(self, tool, piece, **more):
        name = f"s{sum(one['op'] == 'setting' for one in self.operations) + 1}"
        self.operations.append(
            {
                "op": "setting",
                "id": name,
                "tool": tool,
                "piece": piece,
                "stage": "green",
                "weight_kg": 40.0,
                "minutes": 6.0,
                "charged": True,
                "checks": [],
                "cautions": [],
                **more,
            }
        )
        return name

    def mill(self, piece, roll_deg, height, **more):
        roll = np.radians(roll_deg)
        up = [0.0, float(-np.sin(roll)), float(np.cos(roll))]
        mark = {"name": "pith", "height": height}
        return (
            self.setting(
                "mill",
                piece,
                up=up,
                roll=roll_deg,
                butt_at=0.0,
                lifts=[{"bunk": 100.0, "lift": 0.0}, {"bunk": 650.0, "lift": 4.0}, {"bunk": 1750.0, "lift": 6.0}],
                marks={"butt": {**mark, "point": [0.0, 0.0, 0.0]}, "top": {**mark, "point": [LENGTH, 0.0, 0.0]}},
                mark_room={"down": 22.0, "up": 75.5},
                **more,
            ),
            up,
            height,
        )

    def cut(self, setting, piece, normal, offset, above, below, kerf=2.0, **more):
        self.count += 1
        tool = next(one["tool"] for one in self.operations if one["id"] == setting)
        self.operations.append(
            {
                "op": "cut",
                "id": f"c{self.count}",
                "tool": tool,
                "setting": setting,
                "piece": piece,
                "normal": list(normal),
                "offset": offset,
                "kerf": kerf,
                "above": above[0],
                "below": below[0],
                **more,
            }
        )
        for name, kind in (above, below):
            self.pieces.append(
                {
                    "id": name,
                    "mark": f"M{len(self.pieces) + 1}",
                    "kind": kind,
                    "made_by": f"c{self.count}",
                    "volume": 1.0,
                }
            )
        return f"c{self.count}"

    def level(self, made, piece, from_mark, above, below):
        setting, up, height = made
        return self.cut(
            setting,
            piece,
            up,
            from_mark,
            above,
            below,
            blade_height=height + from_mark,
            from_mark=from_mark,
            width=380.0,
        )


def small_script(log_id="walnut-07"):
    """The script of the module's first line."""
    b = Builder()
    first = b.mill("log", 30.0, 204.0)
    b.level(first, "log", 51.0, ("half-a", "half"), ("rest-1", "log"))
    face = b.level(first, "rest-1", -51.0, ("slab-1", "slab"), ("half-b", "half"))
    second = b.mill(
        "half-a", 120.0, 180.0, checks=[{"what": "throat", "value": 372.0, "limit": 380.0, "clearance_run": True}]
    )
    b.level(second, "half-a", 38.5, ("bolt-1", "bolt"), ("rest-2", "half"))
    side = b.level(second, "rest-2", -38.5, ("slab-2", "slab"), ("bolt-2", "bolt"))
    third = b.mill("half-b", 300.0, 180.0)
    b.level(third, "half-b", 20.0, ("bolt-3", "bolt"), ("bolt-4", "bolt"))
    up = np.array(first[1])
    across = np.cross(up, [1.0, 0.0, 0.0])
    rip = b.setting("rip", "slab-1", support="fence", against={"face": face, "angle_deg": 0.0})
    b.cut(rip, "slab-1", across, 30.0, ("strip-1", "billet"), ("strip-0", "offcut"), 3.2)
    cross = b.setting("crosscut", "strip-1", support="table", against=None)
    b.cut(cross, "strip-1", [1.0, 0.0, 0.0], 700.0, ("end-1", "offcut"), ("billet-1", "billet"), 3.2)
    resaw = b.setting("resaw", "billet-1", support="fence", against={"face": face, "angle_deg": 0.0})
    plate_pieces = [("plate-1", "plate"), ("plate-2", "plate")]
    b.cut(resaw, "billet-1", up, -43.0, ("rest-3", "billet"), plate_pieces[0], 1.2)
    b.cut(resaw, "rest-3", up, -36.0, ("rest-4", "offcut"), plate_pieces[1], 1.2)
    for number, angle in enumerate((20.0, 45.0, 70.0), 1):
        fan = b.setting(
            "resaw",
            "bolt-1" if number == 1 else f"wedge-{number - 1}",
            support="v-blocks",
            against={"face": side, "angle_deg": angle},
        )
        turned = np.cos(np.radians(angle)) * np.array(second[1]) + np.sin(np.radians(angle)) * np.array(
            [0.0, *(-up[1:])]
        )
        piece = "bolt-1" if number == 1 else f"wedge-{number - 1}"
        b.cut(fan, piece, turned, 0.0 + 4 * number, (f"flitch-{number}", "billet"), (f"wedge-{number}", "bolt"), 1.2)
    b.plates = [plate("plate-1", "plate-2"), plate("plate-2", "plate-1")]
    return document(b, log_id)


def bucked_script():
    """The small script with its log first crosscut at 1500 mm; all the rest is done to the lower log."""
    script = small_script()
    for one in script["operations"]:
        if one["piece"] == "log":
            one["piece"] = "lower"
        if one["op"] == "setting" and one["tool"] == "mill":
            one["marks"]["top"]["point"] = [1495.5, 0.0, 0.0]
            one["lifts"] = [{"bunk": 100.0, "lift": 0.0}, {"bunk": 1250.0, "lift": 6.0}]
    b = Builder()
    setting = b.setting("buck", "log", support="cradle", against=None)
    b.cut(setting, "log", [1.0, 0.0, 0.0], 1500.0, ("upper", "log"), ("lower", "log"), 9.0)
    buck, cut = b.operations
    buck |= {"id": "buck", "weight_kg": 200.0}
    cut |= {"id": "buck-cut", "setting": "buck"}
    script["operations"] = [buck, cut, *script["operations"]]
    made = [one | {"made_by": "buck-cut"} for one in b.pieces if one["id"] != "log"]
    script["pieces"] = [script["pieces"][0], *made, *script["pieces"][1:]]
    marks = crayon_marks(script["pieces"])
    for piece in script["pieces"]:
        piece["mark"] = marks[piece["id"]]
    return script


def plate(name, mate):
    """A passing plate record."""
    return {
        "id": name,
        "product": "guitar",
        "part": "back",
        "set_id": "guitar-1",
        "mate": mate,
        "corner": [0.0, 0.0, 0.0],
        "edges": [[560.0, 0.0, 0.0], [0.0, 210.0, 0.0], [0.0, 0.0, 5.0]],
        "volume": 588000.0,
        "ring_angle": {"min": 80.0, "mean": 85.0},
        "runout": 1.0,
        "limits": "trade",
        "passes": True,
    }


def document(b, log_id):
    """Everything round the operations."""
    marks = crayon_marks(b.pieces)
    for piece in b.pieces:
        piece["mark"] = marks[piece["id"]]
    volume = np.pi * (RADIUS - BARK) ** 2 * LENGTH
    totals = {
        "instrument_volume": 1176000.0,
        "plates": 2,
        "sets": {"guitar": 1},
        "value": 0.0,
        "kerf_volume": 1.0,
        "offcut_volume": 1.0,
        "log_volume": volume,
        "minutes": 42.0,
        "settings": 6,
    }
    return {
        "format": "pithline-cut-script",
        "version": 1,
        "units": {"length": "mm", "angle": "deg"},
        "log": {
            "id": log_id,
            "species": "black walnut",
            "card_sha256": "0" * 64,
            "scan_sha256": "0" * 64,
            "length": LENGTH,
            "diameter_butt": 2 * RADIUS,
            "diameter_top": 2 * RADIUS,
            "volume": volume,
            "sweep": 0.0,
            "scan_to_log": np.eye(4).tolist(),
        },
        "model": model(),
        "inputs": {
            "card": {"pith": {"radius": 12.0}},
            "mill": {"mill": {"name": "portable", "kerf": 2.0, "scale_reads": "centre"}},
            "products": {
                "limits": {"trade": {"ring_angle_min_deg": 70, "ring_angle_mean_deg": 78, "runout_max_deg": 3}}
            },
        },
        "operations": b.operations,
        "pieces": b.pieces,
        "plates": b.plates,
        "totals": totals,
        "proof": {
            "objective": 1.0,
            "bound": 2.0,
            "gap": 0.5,
            "status": "feasible",
            "layouts_considered": 10,
            "grid": "5 mm",
        },
        "practice": {"slabs": totals, "with_bolts": totals, "ratio": 1.2},
        "uncertainty": {"pith_assumed": False, "instrument_volume": {"p10": 1.0e6, "p50": 1.1e6, "p90": 1.2e6}},
        "cautions": ["sapwood thickness from the species' range"],
    }


def large_script(settings=40, plates=300):
    """Many settings and plates, and an id longer than a line."""
    b = Builder()
    for number in range(settings):
        piece = "log" if number == 0 else f"rest-{number}"
        made = b.mill(piece, 9.0 * number, 204.0)
        b.level(made, piece, 150.0 - number * 2.0, (f"slab-{number}", "slab"), (f"rest-{number + 1}", "log"))
    resaw = b.setting("resaw", "slab-0", support="fence", against={"face": "c1", "angle_deg": 0.0})
    piece = "slab-0"
    for number in range(plates):
        b.cut(
            resaw,
            piece,
            [0.0, 0.0, 1.0],
            152.0 + number * 0.1,
            (f"left-{number}", "offcut"),
            (f"plate-{number}", "plate"),
            0.05,
        )
        b.plates.append(plate(f"plate-{number}", None))
        piece = f"left-{number}"
    return document(b, "an-id-longer-than-a-label-or-a-line-" * 4)
