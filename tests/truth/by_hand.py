"""A small cut script written by hand, on a log like a cylinder, to try the judge with."""

from __future__ import annotations

import copy

import numpy as np

from .logs import TrueLog

MILL = {
    "kerf": 2.0,
    "throat": 400.0,
    "guide_opening": 700.0,
    "blade_min": 25.0,
    "blade_max": 800.0,
    "bunks": [100.0, 1100.0],
    "lift_max": 150.0,
    "lift_step": 2.0,
    "height_step": 1.0,
    "clamp_room": 30.0,
}


def cylinder(radius: float = 300.0, length: float = 1200.0, **more) -> TrueLog:
    """A straight round log without taper, its pith in the middle."""
    return TrueLog("cylinder", length, radius, **({"taper": 0.0, "bark": 10.0} | more))


def slab_script(log: TrueLog, tilt: float = 0.0) -> dict:
    """A 100 mm slab through the pith, one billet of it and two plates; `tilt` raises the top end (radians).

    The mill's up is turned by `tilt` about y, so that every plate runs out of the fibres by it.
    """
    up = np.array([-np.sin(tilt), 0.0, np.cos(tilt)])
    along = np.array([np.cos(tilt), 0.0, np.sin(tilt)])
    middle = np.array([log.length / 2, 0.0, 0.0])
    rest = log.radius + log.bark
    level = rest - float(np.array([0.0, 0, 0]) @ up)
    pieces = [{"id": "log", "mark": "L", "kind": "log", "made_by": None, "volume": 0.0}]
    ops: list[dict] = []

    def cut(id, setting, tool, piece, normal, offset, kerf, above, below, **more) -> None:
        for name, kind in (above, below):
            pieces.append({"id": name, "mark": name[:5], "kind": kind, "made_by": id, "volume": 0.0})
        ops.append(
            {"op": "cut", "id": id, "tool": tool, "setting": setting, "piece": piece,
             "normal": [float(v) for v in normal], "offset": float(offset), "kerf": kerf,
             "above": above[0], "below": below[0], **more}
        )  # fmt: skip

    def setting(id, tool, piece, charged, **more) -> None:
        ops.append({"op": "setting", "id": id, "tool": tool, "piece": piece, "stage": "green", "weight_kg": 0.0,
                    "minutes": 1.0, "charged": charged, "checks": [], "cautions": [], **more})  # fmt: skip

    ends = {"butt": np.zeros(3), "top": np.array([log.length, 0.0, 0.0])}
    marks = {e: {"name": "pith", "point": p.tolist(), "height": float(p @ up) + level} for e, p in ends.items()}
    mean = (marks["butt"]["height"] + marks["top"]["height"]) / 2
    base = float(middle @ up)
    setting("s1", "mill", "log", True, up=up.tolist(), roll=0.0, butt_at=0.0, marks=marks,
            lifts=[{"bunk": 100.0, "lift": 0.0}, {"bunk": 1100.0, "lift": 0.0}],
            mark_room={"down": rest - 51 - 30, "up": 800 - rest - 51})  # fmt: skip
    for n, (d, above, below) in enumerate(
        ((51.0, ("h1", "half"), ("r1", "log")), (-51.0, ("S1", "slab"), ("h2", "half"))), 1
    ):
        height = base + d + level
        cut(f"c{n}", "s1", "mill", "log" if n == 1 else "r1", up, base + d, 2.0, above,
            below, blade_height=height, from_mark=height - mean,
            width=2 * float(np.sqrt((log.radius + log.bark) ** 2 - 51**2)))  # fmt: skip
    against = {"face": "c1", "angle_deg": 90.0}
    y = np.array([0.0, 1.0, 0.0])
    setting("s2", "rip", "S1", False, support="fence", against=against)
    cut("c3", "s2", "rip", "S1", y, 28.0, 4.0, ("b1", "billet"), ("o1", "offcut"))
    cut("c4", "s2", "rip", "b1", y, 232.0, 4.0, ("o2", "offcut"), ("b2", "billet"))
    setting("s3", "crosscut", "b2", False, support="fence", against=against)
    mid = float(middle @ along)
    cut("c5", "s3", "crosscut", "b2", along, mid + 402.0, 4.0, ("o3", "offcut"), ("b3", "billet"))
    cut("c6", "s3", "crosscut", "b3", along, mid - 402.0, 4.0, ("b4", "billet"), ("o4", "offcut"))
    setting("s4", "resaw", "b4", False, support="fence", against={"face": "c1", "angle_deg": 0.0})
    piece, plates = "b4", []
    for n in (1, 2):
        d = 50.0 - 5.0 * n - 1.0 * (n - 1) - 0.5
        cut(f"c{6 + n}", "s4", "resaw", piece, up, base + d, 1.0, (f"p{n}", "plate"), (f"q{n}", "offcut"))
        corner = middle - 400.0 * along + 30.0 * y + (d + 0.5) * up
        plates.append(
            {"id": f"p{n}", "product": "tray", "part": "board", "set_id": None, "mate": None, "corner": corner.tolist(),
             "edges": [(800.0 * along).tolist(), (200.0 * y).tolist(), (5.0 * up).tolist()], "volume": 800.0 * 200 * 5,
             "ring_angle": {"min": 0.0, "mean": 0.0}, "runout": 0.0, "limits": "any", "passes": True}
        )  # fmt: skip
        piece = f"q{n}"
    for entry in pieces:  # q1 is sawn further
        if entry["id"] == "q1":
            entry["kind"] = "billet"
    claimed = sum(p["volume"] for p in plates)
    whole = log.volume_under_bark()
    return {
        "log": {"scan_to_log": np.eye(4).tolist()},
        "inputs": {"mill": copy.deepcopy(MILL), "products": {"limits": {"any": {"runout_max_deg": 90.0}}}},
        "operations": ops,
        "pieces": pieces,
        "plates": plates,
        "totals": {"instrument_volume": claimed, "settings": 1, "plates": 2, "minutes": 4.0, "kerf_volume": 0.1 * whole,
                   "offcut_volume": 0.9 * whole - claimed, "log_volume": whole},
    }  # fmt: skip
