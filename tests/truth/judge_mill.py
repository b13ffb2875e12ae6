"""How the true log would lie on the mill at each setting of a cut script (design section 5), for the judge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .judge import Breach, Solid, moved, moved_plane
from .logs import TrueLog, clock_of, direction

Array = NDArray[np.float64]
SLACK = 0.02
END_CLEAR = 25.0
"""Bunks nearer than this to an end carry nothing (design section 5). [mm]"""


@dataclass(frozen=True)
class Bed:
    """The mill's axes in the true frame: `up`, `along` the bed and `across` it; heights and places from `origin`."""

    origin: Array
    up: Array
    along: Array
    across: Array
    butt_at: float
    lift: float  # height of the origin

    def points(self, place: Array, across: Array, height: Array) -> Array:
        """True-frame points at bed coordinates (broadcast)."""
        place, across, height = np.broadcast_arrays(place, across, height)
        return (
            self.origin
            + (place - self.butt_at)[..., None] * self.along
            + across[..., None] * self.across
            + (height - self.lift)[..., None] * self.up
        )


def mill_of(script: dict) -> dict:
    """The `[mill]` table of the script's inputs, flat or nested."""
    mill = script["inputs"].get("mill") or {}
    return mill["mill"] if isinstance(mill.get("mill"), dict) else mill


def in_log(truth: TrueLog, points: Array) -> Array:
    """Which points lie in the log with its bark and stubs, between the ends."""
    offset = points[..., 1:] - truth.centre(points[..., 0])
    reach = truth.envelope_radius(points[..., 0], clock_of(offset))
    return (np.hypot(offset[..., 0], offset[..., 1]) <= reach) & (truth.within_ends(points) >= 0)


def lowest(truth: TrueLog, solid: Solid, bed: Bed, place: float, reach: float) -> float:
    """Height of the lowest point of a piece above one place of the bed; nan where it does not reach. [mm]"""
    across = np.arange(-reach, reach, 4.0)
    base = bed.points(np.array(place), across, np.array(0.0))
    low, high = _span(solid, base, bed.up, bed.lift - reach, bed.lift + reach)
    steps = np.linspace(0, 1, int(2 * reach / 14) + 1)
    heights = low[:, None] + np.maximum(high - low, 0)[:, None] * steps
    inside = in_log(truth, base[:, None, :] + heights[..., None] * bed.up) & (high >= low)[:, None]
    any_in = inside.any(1)
    if not any_in.any():
        return float("nan")
    rows = np.nonzero(any_in)[0]
    first = inside[rows].argmax(1)
    top = heights[rows, first]
    bottom = np.where(first > 0, heights[rows, np.maximum(first - 1, 0)], top)
    for _ in range(10):
        half = (top + bottom) / 2
        hit = in_log(truth, base[rows] + half[:, None] * bed.up)
        top, bottom = np.where(hit, half, top), np.where(hit, bottom, half)
    return float(top.min())


def _span(solid: Solid, base: Array, up: Array, low: float, high: float) -> tuple[Array, Array]:
    """Heights between which vertical lines through `base` (height 0) run inside the piece's faces."""
    lo, hi = np.full(len(base), low), np.full(len(base), high)
    for n, d in zip(solid.normals, solid.offsets, strict=True):
        slope, room = float(n @ up), d - base @ n
        if abs(slope) < 1e-9:
            hi = np.where(room < 0, -np.inf, hi)
        elif slope > 0:
            hi = np.minimum(hi, room / slope)
        else:
            lo = np.maximum(lo, room / slope)
    return lo, hi


def cloud(truth: TrueLog) -> Array:
    """Points through the log with bark and stubs, the surface among them, for weights and greatest heights."""
    x = np.arange(-80.0, truth.length + 80.0, 20.0)
    clock = np.radians(np.arange(0, 360, 3.0))
    t = np.sqrt((np.arange(10) + 0.5) / 10)
    radius = truth.envelope_radius(x[:, None], clock)
    yz = (
        truth.centre(x)[:, None, None, :]
        + (radius[..., None] * np.append(t, 1.0))[..., None] * direction(clock)[:, None, :]
    )
    points = np.concatenate([np.broadcast_to(x[:, None, None, None], (*yz.shape[:-1], 1)), yz], -1).reshape(-1, 3)
    return points[truth.within_ends(points) >= 0]


def _ancestor(script: dict, piece: str) -> dict[str, str]:
    """Every piece back to the log, child to parent."""
    parents = {}
    for op in script["operations"]:
        if op["op"] == "cut":
            parents[op["above"]] = parents[op["below"]] = op["piece"]
    return parents


def _pith_chord(script: dict, truth: TrueLog, piece: str, to_truth: Array, solids: dict[str, Solid]) -> tuple:
    """Pith at the two ends of the piece's own log: the log, or the shorter log it was bucked to."""
    parents = _ancestor(script, piece)
    bucks = [op for op in script["operations"] if op["op"] == "cut" and op["tool"] == "buck"]
    bucked = {op[side] for op in bucks for side in ("above", "below")}
    while piece in parents and piece not in bucked:  # what stays on the bed keeps the kind "log"
        piece = parents[piece]
    x = np.linspace(0, truth.length, 1201)
    pith = np.column_stack([x, truth.pith(x)])
    inside = pith[solids[piece].depth(pith) >= 0]
    return piece, inside[0], inside[-1]


def judge_settings(script: dict, truth: TrueLog, to_truth: Array, solids: dict, hard: list, losses: list) -> list[dict]:
    """Check every setting; returns what was measured at those on the mill."""
    mill, found, points, levelled = mill_of(script), [], cloud(truth), set()
    by_setting: dict[str, list[dict]] = {}
    seen: list[tuple] = []
    for op in script["operations"]:
        if op["op"] == "cut":
            by_setting.setdefault(op["setting"], []).append(op)
    for op in script["operations"]:
        if op["op"] != "setting":
            continue
        _in_order(op, seen, hard)
        cuts = by_setting.get(op["id"], [])
        if op["piece"] not in solids or any(cut["piece"] not in solids for cut in cuts):
            continue  # the replay has named it
        if not cuts:
            hard.append(Breach("setting without cuts", op["id"], 0.0))
        elif op["tool"] == "mill":
            found.append(_on_mill(script, op, cuts, truth, to_truth, solids, mill, points, levelled, hard, losses))
        else:
            _off_mill(script, op, cuts, solids, hard)
    return found


def _in_order(op: dict, seen: list[tuple], hard: list) -> None:
    """Settings of one set-up are of one machine at one angle, and follow one another."""
    name = op.get("set_up")
    if name is None:
        return
    way = (name, op["tool"], round((op.get("against") or {}).get("angle_deg", 0.0), 1))
    if any(one[0] == name for one in seen) and seen[-1] != way:
        hard.append(Breach("set-up broken up", op["id"], 0.0, name))
    seen.append(way)


def _off_mill(script: dict, op: dict, cuts: list[dict], solids: dict, hard: list) -> None:
    normals = {c["id"]: np.asarray(c["normal"], float) for c in script["operations"] if c["op"] == "cut"}
    against = op.get("against")
    if op["tool"] != "buck" and against is None:
        hard.append(Breach("against", op["id"], 0.0, "says no face"))
    if against is None:
        return
    if against["face"] not in solids[op["piece"]].cuts:
        hard.append(Breach("against", op["id"], 0.0, f"{against['face']} is no face of {op['piece']}"))
        return
    for cut in cuts:
        cosine = abs(float(normals[cut["id"]] @ normals[against["face"]]))
        angle = float(np.degrees(np.arccos(min(1.0, cosine))))
        if abs(angle - against["angle_deg"]) > 0.1:
            hard.append(Breach("angle to the fence", cut["id"], angle - against["angle_deg"]))
    parallel = op["tool"] == "resaw" and against["angle_deg"] < 0.05
    free = op["tool"] in ("rip", "crosscut") or parallel
    if op["charged"] == free:
        words = f"{op['tool']} at {against['angle_deg']:.2f}° charged {op['charged']}"
        hard.append(Breach("charged", op["id"], 0.0, words))


def _on_mill(script, op, cuts, truth, to_truth, solids, mill, points, levelled, hard, losses) -> dict:
    where, up = op["id"], to_truth[:3, :3] @ np.asarray(op["up"], float)
    log_id, butt, top = _pith_chord(script, truth, op["piece"], to_truth, solids)
    chord = top - butt
    along = chord - (chord @ up) * up
    along /= np.linalg.norm(along)
    if "marks" in op:
        marks = [(moved(op["marks"][e]["point"], to_truth), op["marks"][e]["height"]) for e in ("butt", "top")]
        levels = [height - float(point @ up) for point, height in marks]
        if abs(levels[0] - levels[1]) > SLACK:
            hard.append(
                Breach("marks", where, levels[0] - levels[1], "their heights do not agree with the way it lies")
            )
    else:  # a bolt goes by its own faces; its cuts' heights place it
        _, d = moved_plane(cuts[0]["normal"], cuts[0]["offset"], to_truth)
        marks, levels = [], [cuts[0]["blade_height"] - d]
    bed = Bed(butt, up, along, np.cross(up, along), op.get("butt_at", 0.0), float(butt @ up) + levels[0])
    _check_cuts(op, cuts, marks, levels[0], to_truth, up, mill, hard)
    if log_id not in levelled:
        levelled.add(log_id)
        rise = abs(float(chord @ up))
        if rise > mill.get("lift_step", 0.0) + 1.0:
            (hard if truth.pith_wander == 0 and rise > 25 else losses).append(Breach("pith not level", where, rise))
    if "marks" not in op:
        _bolt(op, solids[op["piece"]], bed, along, points, mill, script, hard, losses)
    return _rest(op, cuts, truth, solids, bed, mill, points, hard, losses)


def _bolt(op, solid, bed, along, points, mill, script, hard, losses) -> None:
    """A bolt on the mill: its face at the angle stated, a cradle that there is, its weight over what carries it."""
    where, against = op["id"], op["against"]
    if {p["id"]: p["kind"] for p in script["pieces"]}[op["piece"]] in ("log", "half"):
        hard.append(Breach("no marks", where, 0.0, "a log or half is set by marks"))
    if against["face"] not in solid.cuts:
        hard.append(Breach("against", where, 0.0, f"{against['face']} is no face of {op['piece']}"))
        return
    normal = solid.normals[solid.cuts.index(against["face"])]
    flat = normal - (normal @ along) * along
    angle = float(np.degrees(np.arccos(min(1.0, abs(float(flat @ bed.up)) / float(np.linalg.norm(flat))))))
    if abs(angle - against["angle_deg"]) > 0.15:
        hard.append(Breach("cradle angle", where, angle - against["angle_deg"]))
    listed = mill.get("cradles_deg", [])
    if angle > 0.1 and not mill.get("cradle_any", True) and min((abs(angle - a) for a in listed), default=90.0) > 0.15:
        hard.append(Breach("no such cradle", where, angle))
    own = points[solid.depth(points) >= 0]
    sideways = (own - bed.origin) @ bed.across
    weight = float(sideways.mean())
    carried = []
    for n, d in zip(solid.normals, solid.offsets, strict=True):
        if n @ bed.up > -0.17 or abs(n @ along) > 0.5:
            continue
        near = np.abs(own @ n - d) < 14.0  # the cloud's points stand 10 to 20 mm apart
        carried += [float(v) for v in sideways[near]]
    if not carried or not min(carried) - 5.0 <= weight <= max(carried) + 5.0:
        reach = f"{min(carried):.0f} to {max(carried):.0f}" if carried else "nothing"
        losses.append(Breach("does not stand", where, weight, f"carried over {reach}"))


def _check_cuts(op, cuts, marks, level, to_truth, up, mill, hard) -> None:
    """Blade heights against planes, marks, the mill's scale and range, each other."""
    mean = (marks[0][1] + marks[1][1]) / 2 if marks else 0.0
    before = np.inf
    for cut in cuts:
        n, d = moved_plane(cut["normal"], cut["offset"], to_truth)
        height = cut["blade_height"]
        for what, much, slack in (
            ("cut not level", float(np.degrees(np.linalg.norm(np.cross(n, up)))), 1e-3),
            ("blade height and plane", height - (d * float(np.sign(n @ up)) + level), SLACK),
            ("from_mark", height - mean - cut.get("from_mark", height - mean), SLACK),
            ("blade above its range", max(0.0, height - mill["blade_max"]), 1e-6),
            ("blade below its range", max(0.0, mill["blade_min"] - height), 1e-6),
            ("height not on the scale", _off_step(height, mill["height_step"]), 1e-3),
            ("cuts do not descend", max(0.0, height - before), 0.0),
        ):
            if abs(much) > slack:
                hard.append(Breach(what, cut["id"], much))
        if float(n @ up) < 0:
            hard.append(Breach("normal not up", cut["id"], 0.0))
        before = height


def _off_step(value: float, step: float) -> float:
    return abs(value - round(value / step) * step)


def _rest(op, cuts, truth, solids, bed, mill, points, hard, losses) -> dict:
    """Where the piece would really rest with these lifts, and the mill's limits on it."""
    where, solid = op["id"], solids[op["piece"]]
    lifts = {entry["bunk"]: entry["lift"] for entry in op["lifts"]}
    own = points[solid.depth(points) >= 0]
    height = (own - bed.origin) @ bed.up + bed.lift
    place = (own - bed.origin) @ bed.along + bed.butt_at
    reach = float(np.abs((own - bed.origin) @ bed.across).max() + np.ptp(height) + 50)
    gaps = {b: lowest(truth, solid, bed, b, reach) - lift for b, lift in lifts.items()}
    for b, lift in lifts.items():
        for side in (-END_CLEAR, END_CLEAR):
            if np.isnan(lowest(truth, solid, bed, b + side, reach)):
                hard.append(Breach("bunk within 25 mm of an end", where, b))
        if lift > mill["lift_max"] + 1e-6 or lift < -1e-6 or _off_step(lift, mill["lift_step"]) > 1e-3:
            hard.append(Breach("lift cannot be set", where, lift, f"at bunk {b:g}"))
        if min(abs(b - x) for x in mill["bunks"]) > 1e-6:
            hard.append(Breach("no such bunk", where, b))
    for b in mill["bunks"]:
        if b not in lifts and place.min() < b < place.max():
            low = lowest(truth, solid, bed, b, reach)
            if low < -1.0:
                hard.append(Breach("fouls a bunk not lifted", where, low, f"at bunk {b:g}"))
    real = {b: g for b, g in gaps.items() if not np.isnan(g)}
    if len(real) < 2:
        hard.append(Breach("fewer than two bunks", where, len(real)))
    elif not min(real) < float(place.mean()) < max(real):
        hard.append(Breach("weight not between bunks", where, float(place.mean()), f"bunks {sorted(real)}"))
    drop = min(real.values(), default=0.0)  # the piece sinks by this much before it is carried
    heights = [cut["blade_height"] for cut in cuts]
    lift = max(lifts.values(), default=0.0)
    if min(heights) - lift < mill["clamp_room"] - 1e-6:
        hard.append(Breach("clamp room", where, min(heights) - lift - mill["clamp_room"]))
    if "mark_room" not in op:
        _on_bed(op, own, bed, drop, hard)
        _throat_and_width(cuts, truth, solids, bed, mill, points, hard, reach)
        return {"setting": where, "piece": op["piece"], "gaps": "", "lowest blade": round(min(heights), 1)}
    room = op["mark_room"]
    down, up = min(heights) - max(mill["blade_min"], mill["clamp_room"] + lift), mill["blade_max"] - max(heights)
    if abs(room["down"] - down) > 0.6 or abs(room["up"] - up) > 0.6:
        hard.append(Breach("mark_room", where, room["down"] - down, f"up {room['up'] - up:.2f}"))
    if drop > room["down"] + 0.5 or -drop > room["up"] + 0.5:
        losses.append(Breach("mark room too small", where, drop, f"down {room['down']:.1f} up {room['up']:.1f}"))
    _throat_and_width(cuts, truth, solids, bed, mill, points, hard, reach)
    return {
        "setting": where,
        "piece": op["piece"],
        "gaps": " ".join(f"{b:g}:{g:+.1f}" for b, g in sorted(gaps.items())),
        "lowest blade": round(min(heights), 1),
    }


def _on_bed(op: dict, own: Array, bed: Bed, drop: float, hard: list) -> None:
    """A bolt lies on the bed, or on blocks over it, never in it."""
    low = float(((own - bed.origin) @ bed.up).min() + bed.lift)
    if low < -2.0:
        hard.append(Breach("in the bed", op["id"], low))
    if op["support"] == "bed" and abs(drop) > 2.0:
        hard.append(Breach("does not rest", op["id"], drop, "its face should lie on the bed"))


def _throat_and_width(cuts, truth, solids, bed, mill, points, hard, reach) -> None:
    x = np.arange(-80.0, truth.length + 80.0, 40.0)
    across = np.arange(-reach, reach, 6.0)
    for cut in cuts:
        solid = solids[cut["piece"]]
        own = points[solid.depth(points) >= 0]
        tall = float(((own - bed.origin) @ bed.up).max() + bed.lift - cut["blade_height"]) if len(own) else 0.0
        if tall > mill["throat"] + 0.5:
            hard.append(Breach("throat", cut["id"], tall - mill["throat"], f"{tall:.0f} mm above the blade"))
        grid = bed.points(x[:, None] + bed.butt_at, across[None, :], np.array(cut["blade_height"]))
        inside = in_log(truth, grid) & (solid.depth(grid) >= 0)
        first, last = inside.argmax(1), len(across) - 1 - inside[:, ::-1].argmax(1)
        wide = float(np.where(inside.any(1), (last - first) * 6.0, 0.0).max())
        if wide > mill["guide_opening"] + 6:
            hard.append(Breach("guide opening", cut["id"], wide - mill["guide_opening"], f"{wide:.0f} mm wide"))
        # stated on the envelope, which holds stubs at their widest: more than there is does no harm, less may jam the band
        if wide - cut["width"] > 25:
            words = f"says {cut['width']:.0f}, is {wide:.0f}"
            hard.append(Breach("width of cut", cut["id"], cut["width"] - wide, words))
