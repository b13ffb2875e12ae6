"""Every mill setting of a script: the way its piece lies, heights, marks, limits of the mill (design section 5)."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.script.bolts import bolt_bed, bolt_findings, is_bolt_setting
from pithline.script.envelope import (
    Bed,
    Envelope,
    Laid,
    envelope_of,
    lay,
    pith_at,
    sections,
    width_at,
)
from pithline.script.finding import Finding
from pithline.script.pieces import Sawn, SawnFace
from pithline.script.structure import cuts_by_setting, history

Array = NDArray[np.float64]
END_CLEAR = 25.0
"""A bunk nearer than this to an end of the piece carries nothing. [mm]"""
HEIGHT = 0.5
"""Stated heights, planes and marks of a setting agree among themselves within this. [mm]"""
REST = 1.5
"""A piece rests as stated within this [mm]: less than one lift step, more than stations 25 mm apart leave open on bark."""
REST_DEG = 0.1
LEVEL_DEG = 0.01
MARK = 1.0
SET = 1e-3
WIDE = 10.0
LIMIT = 1.0
"""Two ways of measuring one outline differ by less than this; a limit missed by more is a finding. [mm]"""
LIGHTEST, HEAVIEST = 300.0, 1500.0
"""Green density of any wood with its bark, kg/m³: bounds for slips only, from memory."""


def machine_findings(document: dict[str, Any], sawn: Sawn, lumps: dict[str, float]) -> list[Finding]:
    """All findings about settings on the mill; `lumps` is the largest lump's share of each piece that goes on it.

    Settings that were sawn before a script was planned anew (`replan`) are history: how they lay is not asked any more.
    """
    kept = history(document)
    mill, envelope = document["inputs"]["mill"]["mill"], envelope_of(document["model"])
    found, levelled = [], set()
    cuts = {name: [one for one in own if one["tool"] == "mill"] for name, own in cuts_by_setting(document).items()}
    densities: list[tuple[str, float]] = []
    kinds = {one["id"]: one["kind"] for one in document["pieces"]}
    for one in document["operations"]:
        if one["op"] != "setting" or one["tool"] != "mill" or one["piece"] not in sawn.volumes or not cuts[one["id"]]:
            continue
        own = own_log(document, sawn, one["piece"])
        if one["id"] in kept:
            levelled.add(own)
            continue
        ends = log_ends(document, sawn, envelope, own)
        bolt = is_bolt_setting(one)
        bed, marked = bolt_bed(one, cuts[one["id"]], envelope, ends) if bolt else _bed(one, envelope, ends)
        laid = lay(envelope, bed, sawn.faces[one["piece"]])
        if laid is None:
            found.append(Finding("setting-piece", one["id"], one["piece"], "", f"{one['piece']} holds no wood to pose"))
            continue
        found += marked
        if lumps.get(one["piece"], 1.0) < 0.98:
            words = f"{one['piece']} is in several lumps and may not go on the mill ({one['id']})"
            found.append(Finding("lumps", one["id"], 1.0, lumps[one["piece"]], words))
        found += bolt_findings(one, laid, sawn, kinds) if bolt else []
        found += _rolled(one, sawn, mill)
        carried, rest = _rest(one, laid, envelope, mill)
        found += rest + _heights(one, cuts[one["id"]], bed, mill)
        found += _limits(one, cuts[one["id"]], laid, mill, carried)
        if own not in levelled:
            levelled.add(own)
            found += _first(one, laid, envelope, ends, mill)
        densities.append((one["id"], one["weight_kg"] / (laid.volume * 1e-9)))
    return [*found, *_weights(densities)]


def own_log(document: dict[str, Any], sawn: Sawn, piece: str) -> str:
    """The log, whole or bucked, that a piece belongs to."""
    bucks = {one["id"] for one in document["operations"] if one["op"] == "cut" and one["tool"] == "buck"}
    return next((name for name in sawn.line(piece) if sawn.made_by.get(name) in bucks), "log")


def log_ends(document: dict[str, Any], sawn: Sawn, envelope: Envelope, own: str) -> tuple[SawnFace, SawnFace]:
    """Butt and top plane of a log, whole or bucked: the innermost bucking cuts, else the ends as they were sawn."""
    bucks = {one["id"] for one in document["operations"] if one["op"] == "cut" and one["tool"] == "buck"}
    butt, top = envelope.ends
    for face in sawn.faces[own]:
        if face.cut in bucks:
            butt, top = (face, top) if face.normal[0] < 0.0 else (butt, face)
    return butt, top


def _bed(setting: dict[str, Any], envelope: Envelope, ends: tuple[SawnFace, SawnFace]) -> tuple[Bed, list[Finding]]:
    """The bed as the marks' heights place it, and what is wrong with `up` and the marks."""
    name, found = setting["id"], []
    up = np.asarray(setting["up"], float)
    length = float(np.linalg.norm(up))
    if abs(length - 1.0) > 1e-6:
        found.append(Finding("pose-up", name, 1.0, length, f"{name} has an up of length {length:.7f}"))
    up = up / length
    piths = [pith_at(envelope, face) for face in ends]
    chord = piths[1] - piths[0]
    along = chord - (chord @ up) * up
    along /= np.linalg.norm(along)
    levels = []
    for end, face, pith in zip(("butt", "top"), ends, piths, strict=True):
        mark = setting["marks"][end]
        point = np.asarray(mark["point"], float)
        off = abs(float(face.normal @ point - face.offset))
        if off > MARK:
            words = f"{name} has its {end} mark {off:.1f} mm off the end face"
            found.append(Finding("mark", name, 0.0, off, words))
        if "pith" in mark["name"].lower() and (off := float(np.linalg.norm(point - pith))) > MARK:
            words = f"{name} has its {end} mark, the {mark['name']}, {off:.1f} mm from the pith of the model"
            found.append(Finding("mark", name, 0.0, off, words))
        levels.append(mark["height"] - float(point @ up))
    if abs(levels[0] - levels[1]) > HEIGHT:
        words = f"{name} states marks whose heights disagree by {levels[0] - levels[1]:.2f} mm as its piece lies"
        found.append(Finding("mark-height", name, 0.0, levels[0] - levels[1], words))
    level = (levels[0] + levels[1]) / 2.0
    return Bed(piths[0], along, np.cross(up, along), up, float(setting["butt_at"]), level), found


def _rolled(setting: dict[str, Any], sawn: Sawn, mill: dict[str, Any]) -> list[Finding]:
    """`roll` is the clock angle of `up`, in steps from 12 o'clock or from a sawn face of the piece."""
    name, up = setting["id"], np.asarray(setting["up"], float)
    own = float(np.degrees(np.arctan2(-up[1], up[2])))
    found = []
    if abs(_turn(setting["roll"] - own)) > REST_DEG:
        words = f"{name} states a roll of {setting['roll']:.2f}°, its up points to {own % 360.0:.2f}°"
        found.append(Finding("roll", name, setting["roll"], own % 360.0, words))
    if is_bolt_setting(setting):  # its face sets the roll
        return found
    starts = [0.0] + [float(np.degrees(np.arctan2(-f.normal[1], f.normal[2]))) for f in sawn.faces[setting["piece"]]]
    off = min(abs(_off_step(_turn(setting["roll"] - start), mill["roll_step_deg"])) for start in starts)
    if off > REST_DEG:
        words = f"{name} states a roll of {setting['roll']:.2f}°, which is no step of {mill['roll_step_deg']:g}°"
        found.append(Finding("roll", name, setting["roll"], off, words))
    return found


def _turn(degrees: float) -> float:
    return (degrees + 180.0) % 360.0 - 180.0


def _off_step(value: float, step: float) -> float:
    return value - round(value / step) * step


def _rest(
    setting: dict[str, Any], laid: Laid, envelope: Envelope, mill: dict[str, Any]
) -> tuple[list[float], list[Finding]]:
    """Where the piece comes to rest on its bunks, beside the way it is stated to lie; lifts that carry it.

    With g the gap under the piece at each bunk as stated, the rest is the edge of the lower convex hull of (bunk, g)
    under the centre of gravity: the only line that no bunk breaks and on which the weight lies between two carriers.
    """
    name, lifts = setting["id"], {one["bunk"]: one["lift"] for one in setting["lifts"]}
    found = [*_lifts(name, lifts, mill)]
    gaps: dict[float, float] = {}
    bunks = sorted({*mill["bunks"], *lifts})
    there = sections(envelope, laid.bed, laid.faces, np.add.outer(bunks, (0.0, -END_CLEAR, END_CLEAR)).ravel())
    for bunk, here, *sides in zip(bunks, there[::3], there[1::3], there[2::3], strict=True):
        carries = len(here) and all(len(one) for one in sides)
        if carries:
            gaps[bunk] = float(here[:, 1].min()) - lifts.get(bunk, 0.0)
        elif bunk in lifts:
            words = f"{name} lifts at bunk {bunk:g}, which does not stand 25 mm clear of the ends of {setting['piece']}"
            found.append(Finding("bunk-end", name, bunk, laid.middle, words))
        elif len(here) and here[:, 1].min() < -REST:
            words = f"{name} lets {setting['piece']} down on bunk {bunk:g}, too near an end to carry it"
            found.append(Finding("bunk-end", name, 0.0, float(here[:, 1].min()), words))
    at = np.array(sorted(gaps))
    if len(at) < 2 or not at[0] < laid.middle < at[-1]:
        words = f"{name} has no two bunks with the weight of {setting['piece']} between them"
        return list(lifts.values()), [*found, Finding("bunks", name, laid.middle, len(at), words)]
    gap = np.array([gaps[one] for one in at])
    i, j = hull_edge(at, gap, laid.middle)
    slope = (gap[j] - gap[i]) / (at[j] - at[i])
    deep = gap[i] + slope * (laid.middle - at[i])
    if setting.get("support") == "cradle":  # it stands on blocks, as high as they are
        return [0.0, 0.0], found
    if abs(deep) > REST:
        words = f"{name} states heights that leave {setting['piece']} {deep:+.2f} mm from where it rests on its bunks"
        found.append(Finding("rest-height", name, 0.0, float(deep), words))
    tilt = float(np.degrees(np.arctan(slope)))
    if abs(tilt) > REST_DEG:
        words = f"{name} states an up that is {tilt:+.3f}° along the bed from where {setting['piece']} rests"
        found.append(Finding("rest-angle", name, 0.0, tilt, words))
    return [lifts.get(float(at[k]), 0.0) for k in (i, j)], found


def hull_edge(at: Array, gap: Array, middle: float) -> tuple[int, int]:
    """Indices of the ends of the lower convex hull's edge of (at, gap) over `middle`; `at` lies on both sides of it."""
    pairs = [(int(i), int(j)) for i in np.flatnonzero(at <= middle) for j in np.flatnonzero(at > middle)]

    def over_middle(pair: tuple[int, int]) -> float:
        i, j = pair
        return float(gap[i] + (gap[j] - gap[i]) * (middle - at[i]) / (at[j] - at[i]))

    return min(pairs, key=over_middle)


def _lifts(name: str, lifts: dict[float, float], mill: dict[str, Any]) -> list[Finding]:
    found = []
    for bunk, lift in lifts.items():
        if min(abs(bunk - one) for one in mill["bunks"]) > SET:
            found.append(Finding("lift", name, bunk, "", f"{name} lifts at {bunk:g}, where the mill has no bunk"))
        if lift > mill["lift_max"] + SET:
            words = f"{name} lifts {lift:g} mm at bunk {bunk:g}, the mill's largest lift is {mill['lift_max']:g} mm"
            found.append(Finding("lift", name, lift, mill["lift_max"], words))
        if abs(_off_step(lift, mill["lift_step"])) > SET:
            words = f"{name} lifts {lift:g} mm at bunk {bunk:g}, which is no step of {mill['lift_step']:g} mm"
            found.append(Finding("lift", name, lift, mill["lift_step"], words))
    return found


def _heights(setting: dict[str, Any], cuts: list[dict[str, Any]], bed: Bed, mill: dict[str, Any]) -> list[Finding]:
    """Blade heights against planes, marks, steps, range and one another."""
    found, before = [], np.inf
    marks = setting.get("marks")
    mean = (marks["butt"]["height"] + marks["top"]["height"]) / 2.0 if marks else 0.0
    for cut in cuts:
        name, height, n = cut["id"], cut["blade_height"], np.asarray(cut["normal"], float)
        lean = float(np.degrees(np.arctan2(np.linalg.norm(np.cross(n, bed.up)), n @ bed.up)))
        if lean > LEVEL_DEG:
            found.append(Finding("cut-level", name, 0.0, lean, f"{name} lies {lean:.3f}° off the up of its setting"))
        own = cut["offset"] + bed.level
        step = _off_step(height, mill["height_step"])
        for kind, stated, real, slack, words in (
            ("blade-height", height, own, HEIGHT, f"its plane stands {own:.2f} mm above the bed"),
            (
                "from-mark",
                cut.get("from_mark", height - mean),
                height - mean,
                0.05,
                f"from its marks it is {height - mean:+.2f} mm",
            ),
            ("height-step", height, height - step, SET, f"that is no step of {mill['height_step']:g} mm"),
            ("blade-range", height, min(height, mill["blade_max"]), SET, f"over {mill['blade_max']:g} mm"),
            ("blade-range", height, max(height, mill["blade_min"]), SET, f"under {mill['blade_min']:g} mm"),
            ("descend", height, min(height, before), SET, f"above the cut before it at {before:.2f} mm"),
        ):
            if abs(stated - real) > slack:
                sentence = f"{name} states {stated:.2f} mm ({kind.replace('-', ' ')}): {words}"
                found.append(Finding(kind, name, stated, float(real), sentence))
        before = height
    return found


def _limits(
    setting: dict[str, Any], cuts: list[dict[str, Any]], laid: Laid, mill: dict[str, Any], carried: list[float]
) -> list[Finding]:
    """Throat, guide opening and clamp room, on the envelope; widths and mark room as stated; clearance runs."""
    name, found, tight, top = setting["id"], [], set(), laid.top
    blades = [cut["blade_height"] for cut in cuts]
    for cut in cuts:
        over = top - cut["blade_height"]
        # cuts before this one took only what is higher, so the outlines as laid still tell its width
        wide = max(width_at(one, cut["blade_height"]) for one in laid.outlines)
        if abs(wide - cut["width"]) > max(WIDE, 0.02 * wide):
            words = f"{cut['id']} states a width of {cut['width']:.0f} mm, {wide:.0f} mm is measured"
            found.append(Finding("width", cut["id"], cut["width"], wide, words))
        for what, value in (("throat", over), ("guide_opening", wide)):
            if value > mill[what] + LIMIT:
                kind = what.replace("_", "-")
                words = f"{cut['id']} needs a {kind} of {value:.0f} mm, the mill has {mill[what]:g} mm"
                found.append(Finding(kind, cut["id"], mill[what], value, words))
            elif value > mill[what] - mill["clearance_margin"] + LIMIT:
                tight.add(what)
        top = cut["blade_height"] - cut["kerf"] / 2.0
    lift = max(carried, default=0.0)
    room = min(blades) - lift
    if room < mill["clamp_room"] - SET:
        words = f"{name} leaves the clamps {room:.1f} mm under its lowest cut, the mill needs {mill['clamp_room']:g} mm"
        found.append(Finding("clamp-room", name, mill["clamp_room"], room, words))
    if tight and not any(one.get("clearance_run") for one in setting["checks"]):
        words = f"{name} is within the clearance margin of {', '.join(sorted(tight))} and asks for no clearance run"
        found.append(Finding("clearance-run", name, "none", ", ".join(sorted(tight)), words))
    if "mark_room" not in setting:
        return found
    down = min(blades) - max(mill["blade_min"], mill["clamp_room"] + lift)
    for side, real in (("down", down), ("up", mill["blade_max"] - max(blades))):
        if abs(setting["mark_room"][side] - real) > HEIGHT:
            words = f"{name} states a mark room {side} of {setting['mark_room'][side]:.1f} mm, it is {real:.1f} mm"
            found.append(Finding("mark-room", name, setting["mark_room"][side], real, words))
    return found


def _first(
    setting: dict[str, Any],
    laid: Laid,
    envelope: Envelope,
    ends: tuple[SawnFace, SawnFace],
    mill: dict[str, Any],
) -> list[Finding]:
    """The first setting of a log levels its pith; the log is one the mill takes."""
    name, found = setting["id"], []
    piths = [pith_at(envelope, face) for face in ends]
    chord = piths[1] - piths[0]
    bunks = [one["bunk"] for one in setting["lifts"]]
    span = max(bunks) - min(bunks) if len(bunks) > 1 else np.ptp(mill["bunks"])
    length, rise = float(np.linalg.norm(chord)), abs(float(chord @ laid.bed.up))
    most = mill["lift_step"] * max(1.0, length / max(float(span), 1.0)) + LIMIT
    if rise > most:
        words = f"{name} is the first of its log and leaves the pith {rise:.1f} mm out of level over its length"
        found.append(Finding("pith-level", name, 0.0, rise, words))
    wide = 2.0 * float(np.sqrt(laid.areas.max() / np.pi))
    for what, value, limit, over in (
        ("longer", length, mill["log_length_max"], length - mill["log_length_max"]),
        ("shorter", length, mill["log_length_min"], mill["log_length_min"] - length),
        ("thicker", wide, mill["log_diameter_max"], wide - mill["log_diameter_max"]),
    ):
        if over > LIMIT:
            words = f"{name} poses a log of {value:.0f} mm, {what} than the {limit:g} mm the mill takes"
            found.append(Finding("log-size", name, limit, value, words))
    return found


def _weights(densities: list[tuple[str, float]]) -> list[Finding]:
    """Weights with bark imply one green density."""
    found = []
    usual = float(np.median([value for _, value in densities])) if densities else 0.0
    for name, value in densities:
        if not LIGHTEST < value < HEAVIEST or abs(value / usual - 1.0) > 0.05:
            words = f"{name} states a weight of {value:.0f} kg/m³ for its piece with its bark; others make {usual:.0f}"
            found.append(Finding("weight", name, value, usual, words))
    return found
