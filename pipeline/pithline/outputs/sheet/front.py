"""Page 1: what to measure before sawing, then the log, what was assumed, and what the plan yields."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull

from pithline.logmodel.model import clock_angles, radius_at
from pithline.outputs.ends import EndFace
from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.cautions import GUARDS, LAW, METAL
from pithline.outputs.words import Words, degrees

GIRTH_AT = 100.0
"""Girth is taped this far in from each end (design section 6, `[tape]`). [mm]"""
LEAST_ARM, LEAST_SHARE = 5.0, 0.01
"""Least ± of an arm [mm], and of girths and length [share]: a tape on bark is no finer (common practice)."""


def front_page(pages: Pages, reading: Script, words: Words) -> None:
    """The first page."""
    log = reading.document["log"]
    pages.text(f"Log {log['id']}", 22.0, bold=True, after=2.0)
    pages.text(f"{log['species']}. All angles are clock angles, seen facing the butt end, 12 o'clock as marked.", 10.0)
    pages.heading("1  Measure before you saw")
    rows = [[what, words.both(plan), "± " + words.length(room), ""] for what, plan, room in measures(reading)]
    pages.table(["Measure", "Plan", "Room", "Found"], rows, [38, 28, 17, 17], 9.5)
    pages.text(
        "If one number is outside its room, do not saw this plan: find out why, or scan and plan again.",
        12.0,
        bold=True,
    )
    pages.heading("The plan")
    pages.table(["", ""], [[a, b] for a, b in facts(reading, words)], [32, 68], 9.5)
    for caution in reading.document.get("cautions", []):
        pages.text(f"• {_text(caution)}", 10.0)
    for caution in (METAL, GUARDS, LAW):
        pages.caution(caution)


def measures(reading: Script) -> list[tuple[str, float, float]]:
    """What is taped, its planned value and the room for it. [mm]"""
    model = reading.model
    found = [("Length along the pith", model.length, max(10.0, LEAST_SHARE * model.length))]
    for name, x in (("butt", GIRTH_AT), ("top", model.length - GIRTH_AT)):
        row = int(np.argmin(np.abs(model.x - x)))
        girth = girth_at(reading, x)
        doubt = 2.0 * 2.0 * np.pi * float(model.stderr_radius[row].mean())
        found.append((f"Girth over bark, {name}, {GIRTH_AT:.0f} mm (4 in) in", girth, max(doubt, LEAST_SHARE * girth)))
    for face, row in zip(
        reading.ends("log" if "log" in reading.pieces else next(iter(reading.pieces))), (0, -1), strict=True
    ):
        found += _arms(face, float(model.stderr_pith[row]), float(model.stderr_radius[row].mean()))
    return found


def _arms(face: EndFace, pith_doubt: float, radius_doubt: float) -> list[tuple[str, float, float]]:
    room = max(LEAST_ARM, 2.0 * float(np.hypot(pith_doubt, radius_doubt)))
    clock = {"up": "up (12)", "right": "right", "down": "down", "left": "left"}
    return [(f"{face.name} end, pith to bark {clock[arm]}", value, room) for arm, value in face.arms().items()]


def girth_at(reading: Script, x: float) -> float:
    """Taped girth over bark at station x: the length of the section's convex hull. [mm]"""
    clock = clock_angles()
    radius = radius_at(reading.model, reading.model.radius_over_bark, x, clock)
    points = radius[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=-1)
    return float(ConvexHull(points).area)


def facts(reading: Script, words: Words) -> list[tuple[str, str]]:
    """The log, what was assumed and what the plan yields, as rows."""
    doc = reading.document
    log, totals, doubt = doc["log"], doc["totals"], doc.get("uncertainty", {})
    mill = doc["inputs"]["mill"]
    mill = mill.get("mill", mill)
    reads = mill.get("scale_reads", "centre")
    unseen = (1.0 - float(doc["model"].get("coverage", 1.0))) * 360.0
    limits = sorted({plate["limits"] for plate in doc["plates"]})
    rows = [
        ("Log", f"{words.both(log['length'])} long, {words.length(log['diameter_butt'])} at the butt, "
                f"{words.length(log['diameter_top'])} at the top, sweep {words.length(log['sweep'])}, "
                f"{words.volume(log['volume'])} under bark"),
        ("Assumed", ("pith NOT marked, the centre stands for it" if doubt.get("pith_assumed") else "pith as marked")
                    + f"; {unseen:.0f}° of the girth unseen"),
        ("Heights", f"mill: {mill.get('name', '')}. Every blade height is what the scale reads: the "
                    + ("kerf's centre" if reads == "centre" else "kerf's lower edge") + "; lines are drawn at "
                    "the kerf's centre"),
        ("Yield", f"{words.volume(totals['instrument_volume'])} in {totals['plates']} plates"
                  + _spread(doubt.get("instrument_volume"), words)),
        ("Limits in force", ", ".join(_limits(doc, name) for name in limits) or "none"),
        ("Complete sets", ", ".join(f"{_text(name)}: "
                                    f"{count}" for name, count in totals.get("sets", {}).items()) or "none"),
        ("Over practice", _practice(doc, words)),
        ("Work", f"{totals['settings']} charged settings, {totals['minutes']:.0f} minutes"),
    ]  # fmt: skip
    costs = [f"{_text(key).replace('_', ' ')}: {_value(value, words)}" for key, value in doubt.items()
             if key not in ("pith_assumed", "instrument_volume")]  # fmt: skip
    if costs:
        rows.append(("If it is off", "; ".join(costs)))
    return rows


def _value(value: object, words: Words) -> str:
    """A cost of doubt: volumes [mm³] in litres, anything else as it stands."""
    if isinstance(value, dict):
        return ", ".join(f"{key.replace('_', ' ')} {_value(one, words)}" for key, one in value.items())
    if isinstance(value, float | int) and not isinstance(value, bool):
        return words.volume(float(value)) if abs(value) >= 1000.0 else f"{value:g}"
    return _text(value)


def _spread(values: dict[str, float] | None, words: Words) -> str:
    if not values:
        return ""
    return f"; nine times in ten over {words.volume(values['p10'])}, one in ten over {words.volume(values['p90'])}"


def _limits(doc: dict, name: str) -> str:
    products = doc["inputs"]["products"]
    found = products.get("limits", {})
    one = found.get(name) if isinstance(found, dict) else next((e for e in found if e.get("name") == name), None)
    if not one:
        return name
    low, mean = (one.get(f"ring_angle_{key}_deg", one.get(f"ring_angle_{key}")) for key in ("min", "mean"))
    runout = one.get("runout_max_deg", one.get("runout_max"))
    if None in (low, mean, runout):
        return name
    return f"{name} (ring angle ≥ {degrees(low)}, mean ≥ {degrees(mean)}, runout ≤ {degrees(runout)})"


def _practice(doc: dict, words: Words) -> str:
    practice = doc.get("practice") or {}
    best = practice.get("with_bolts")
    if not best:
        return "not known"
    ratio = practice.get("ratio")
    text = f"the practice layout gives {words.volume(best['instrument_volume'])}"
    return text + (f"; this plan {ratio:.2f} times that" if ratio else "")


def _text(value: object) -> str:
    return value if isinstance(value, str) else str(value)
