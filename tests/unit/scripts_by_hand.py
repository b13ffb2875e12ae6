"""A whole cut script written by hand, on a cylinder: a slab through the pith, one billet of it, two plates."""

import numpy as np

from pithline.script.document import crayon_marks
from pithline.script.pieces import saw
from truth.by_hand import cylinder, slab_script
from truth.models import to_model

RADIUS, BARK, LENGTH = 300.0, 10.0, 1200.0
DENSITY = 9.5e-7
"""Green wood with its bark, kg/mm³."""
SAWS = {
    "resaw": {"kerf": 1.0, "height_max": 300.0},
    "rip": {"kerf": 4.0, "depth_max": 120.0},
    "crosscut": {"kerf": 4.0},
    "buck": {"kerf": 8.0},
}
MILL = {"name": "by hand", "log_diameter_max": 700.0, "log_length_max": 3000.0, "log_length_min": 600.0,
        "roll_step_deg": 2.5, "clearance_margin": 15.0, "minutes_per_setting": 6.0, "feed": 6000.0}  # fmt: skip
PRODUCTS = {
    "sizes": "green",
    "limits": {"any": {"ring_angle_min_deg": 0.0, "ring_angle_mean_deg": 0.0, "runout_max_deg": 90.0,
                       "sapwood": "any", "sapwood_edge": 0.0}},
    "product": [{"name": "tray", "price": 20.0, "limits": "any", "part": [
        {"name": "board", "count": 2, "length": 800.0, "width": 200.0, "thickness": 5.0, "bookmatched": True,
         "resaw": "green"}]}],
}  # fmt: skip
CARD = {"log": {"id": "by-hand", "species": "black walnut", "scan_units": "m"},
        "ends": {"trim_butt": 20.0, "trim_top": 20.0}, "bark": {"thickness": BARK}, "sapwood": {"thickness": 20.0},
        "pith": {"radius": 15.0}}  # fmt: skip


def model_document(log, **more):
    """The exact model of a generated log as a script carries it."""
    model = to_model(log)
    radii = ("radius_over_bark", "radius_under_bark", "envelope")
    stations = [
        {"x": float(x), "centre": model.centre[i].tolist(), "pith": model.pith[i].tolist(),
         **{key: getattr(model, key)[i].tolist() for key in radii}, "coverage": 1.0,
         "stderr": {"centre": 0.0, "pith": 0.0, "radius": [0.0] * 72}}
        for i, x in enumerate(model.x)
    ]  # fmt: skip
    ends = {name: {"point": getattr(model, name).point.tolist(), "normal": getattr(model, name).normal.tolist()}
            for name in ("butt", "top")}  # fmt: skip
    document = {
        "format": "pithline-log-model", "version": 1, "scan_to_log": np.eye(4).tolist(), "length": log.length,
        "ends": ends, "stations": stations, "sweep": log.sweep, "taper_mm_per_m": log.taper, "ovality": 0.0,
        "volume_over_bark": log.volume_under_bark() * 1.05, "volume_under_bark": log.volume_under_bark(),
        "coverage": 1.0, "suspected_knots": [], "removed": {},
    }  # fmt: skip
    return document | more


def whole_script(tilt=0.0, **shape):
    """A script that keeps its schema and holds; `tilt` lowers the top end (radians) and runs the plates out by it."""
    log = cylinder(RADIUS, LENGTH, **shape)
    script = slab_script(log, tilt)
    script["model"] = model_document(log)
    script["inputs"]["mill"] = {"mill": MILL | script["inputs"]["mill"], **SAWS}
    script["inputs"] |= {"products": PRODUCTS, "card": CARD}
    volume = script["model"]["volume_under_bark"]
    script["log"] = {"id": "by-hand", "species": "black walnut", "card_sha256": "0" * 64, "scan_sha256": "f" * 64,
                     "length": LENGTH, "diameter_butt": 620.0, "diameter_top": 620.0, "volume": volume,
                     "sweep": 0.0, "scan_to_log": np.eye(4).tolist()}  # fmt: skip
    across = np.concatenate([30.0 + np.linspace(0, 200, 21)])
    for n, plate in enumerate(script["plates"]):
        middle = 47.5 - 6.0 * n
        ring = np.degrees(np.arctan2(across, middle))
        plate |= {"ring_angle": {"min": float(ring.min()), "mean": float(ring.mean())},
                  "runout": float(np.degrees(abs(tilt))), "set_id": "tray-1", "mate": f"p{2 - n}"}  # fmt: skip
    script["operations"][0]["weight_kg"] = DENSITY * np.pi * (RADIUS + BARK) ** 2 * LENGTH
    fill(script)
    totals = script["totals"]
    practice = dict(totals)
    script |= {
        "format": "pithline-cut-script", "version": 1, "units": {"length": "mm", "angle": "deg"}, "cautions": [],
        "proof": {"objective": 1.0, "bound": 1.25, "gap": 0.2, "status": "feasible", "layouts_considered": 1,
                  "grid": "by hand"},
        "practice": {"slabs": practice, "with_bolts": practice, "ratio": 1.0},
        "uncertainty": {"pith_assumed": False, "instrument_volume": {"p10": 1.0, "p50": 1.0, "p90": 1.0}},
    }  # fmt: skip
    return script


def fill(script):
    """Marks, volumes and totals from what the script itself says is sawn."""
    sawn = saw(script)
    marks = crayon_marks(script["pieces"])
    for piece in script["pieces"]:
        piece |= {"mark": marks[piece["id"]], "volume": sawn.volumes[piece["id"]]}
    passing = [plate for plate in script["plates"] if plate["passes"]]
    kept = {plate["id"] for plate in passing}
    settings = [one for one in script["operations"] if one["op"] == "setting"]
    script["totals"] = {
        "instrument_volume": sum(plate["volume"] for plate in passing), "plates": len(passing), "sets": {"tray": 1},
        "value": 20.0, "kerf_volume": sawn.kerf_volume,
        "offcut_volume": sum(sawn.volumes[name] for name in sawn.leaves() if name not in kept),
        "log_volume": sawn.log_volume, "minutes": sum(one["minutes"] for one in settings),
        "settings": sum(one["charged"] for one in settings),
    }  # fmt: skip


def turned_script():
    """The same with the upper half laid on its bark, its sawn face upright, and one more slab sawn from it."""
    script = whole_script()
    up, low = np.array([0.0, 1.0, 0.0]), float(np.sqrt((RADIUS + BARK) ** 2 - 52.0**2))
    cuts = ((low - 0.6 + 50.4, "t1", "r2"), (low - 0.6 - 49.6, "t2", "t3"))
    heights = [round(value) for value, _, _ in cuts]
    ends = {"butt": [0.0, 0.0, 60.0], "top": [LENGTH, 0.0, 60.0]}
    half = 0.5 * np.pi * (RADIUS + BARK) ** 2 - 52.0 * 2 * low * 0.998
    setting = {
        "op": "setting", "id": "s5", "tool": "mill", "piece": "h1", "stage": "green", "minutes": 1.0, "charged": True,
        "weight_kg": DENSITY * half * LENGTH, "checks": [], "cautions": [], "up": up.tolist(), "roll": 270.0,
        "butt_at": 0.0, "lifts": [{"bunk": 100.0, "lift": 0.0}, {"bunk": 1100.0, "lift": 0.0}],
        "marks": {end: {"name": "first line", "point": point, "height": low} for end, point in ends.items()},
        "mark_room": {"down": heights[1] - 30.0, "up": 800.0 - heights[0]},
    }  # fmt: skip
    made = []
    for n, height in enumerate(heights):
        _, above, below = cuts[n]
        offset = height - low
        wide = float(np.sqrt((RADIUS + BARK) ** 2 - offset**2)) - 52.0
        made.append({"op": "cut", "id": f"c{9 + n}", "tool": "mill", "setting": "s5", "piece": ("h1", "r2")[n],
                     "normal": up.tolist(), "offset": offset, "kerf": 2.0, "above": above, "below": below,
                     "blade_height": float(height), "from_mark": height - low, "width": wide})  # fmt: skip
        kinds = (("bolt", "half"), ("slab", "bolt"))[n]
        script["pieces"] += [{"id": name, "mark": "", "kind": kind, "made_by": f"c{9 + n}", "volume": 0.0}
                             for name, kind in zip((above, below), kinds, strict=True)]  # fmt: skip
    script["operations"] += [setting, *made]
    fill(script)
    return script
