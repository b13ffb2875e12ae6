"""Page 1: what to measure before sawing, then the log, what was assumed, and what the plan yields."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull

from pithline.logmodel.model import clock_angles, radius_at
from pithline.outputs.ends import EndFace
from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.cautions import DOUBT, GUARDS, METAL
from pithline.outputs.sheet.fewer import fewer_settings
from pithline.outputs.words import Words, degrees, sentence

GIRTH_AT = 100.0
"""Girth is taped this far in from each end (design section 6, `[tape]`). [mm]"""
LEAST_ARM, LEAST_SHARE = 5.0, 0.01
"""Least ± of an arm [mm], and of girths and length [share]: a tape on bark is no finer (common practice)."""
COSTS = {"roll_5_deg": "5° of roll", "height_5_mm": "5 mm (3/16 in) of height", "pith_5_mm": "5 mm (3/16 in) of pith"}
"""What the script's `uncertainty.cost_of` may hold, in mm³ of instrument wood, and how the sheet says it."""


def front_page(pages: Pages, reading: Script, words: Words) -> None:
    """The first page."""
    log = reading.document["log"]
    pages.text(f"Log {log['id']}", 22.0, bold=True, after=2.0)
    pages.text(f"{log['species']}. All angles are clock angles, seen facing the butt end, 12 o'clock as marked.", 10.0)
    pages.heading("1  Measure before you saw")
    rows: list[list[str] | str] = []
    for title, found in measures(reading).items():
        rows.append(title)
        rows += [[what, words.both(plan), "± " + words.both(room), ""] for what, plan, room in found]
    pages.table(["Measure", "Plan", "Room", "Found"], rows, [38, 26, 23, 13], 9.5)
    pages.text(
        "If one number is outside its room, do not saw this plan: find out why, or scan and plan again.",
        12.0,
        bold=True,
    )
    yields(pages, reading, words)


def measures(reading: Script) -> dict[str, list[tuple[str, float, float]]]:
    """What is taped, its planned value and the room for it [mm], by where it is taped."""
    model = reading.model
    butt, top = reading.ends("log" if "log" in reading.pieces else next(iter(reading.pieces)))
    apart = [face.pith + face.twelve[1] * face.up for face in (butt, top)]
    length = float(np.linalg.norm(apart[1] - apart[0]))
    whole = [("Length, straight along 12 o'clock", length, max(10.0, LEAST_SHARE * length))]
    found = {"The log, over bark": whole}
    for name, x, face, row in (("butt", GIRTH_AT, butt, 0), ("top", model.length - GIRTH_AT, top, -1)):
        near = int(np.argmin(np.abs(model.x - x)))
        girth = girth_at(reading, x)
        doubt = 2.0 * 2.0 * np.pi * float(model.stderr_radius[near].mean())
        whole.append((f"Girth, {GIRTH_AT:.0f} mm (4 in) from the {name} end", girth,
                      max(doubt, LEAST_SHARE * girth)))  # fmt: skip
        found[f"Pith to bark on the {name} end, facing it, 12 o'clock line upright"] = _arms(
            face, float(model.stderr_pith[row]), float(model.stderr_radius[row].mean())
        )
    return found


def _arms(face: EndFace, pith_doubt: float, radius_doubt: float) -> list[tuple[str, float, float]]:
    room = max(LEAST_ARM, 2.0 * float(np.hypot(pith_doubt, radius_doubt)))
    clock = {"up": "up, 12 o'clock line", "right": "to the right, level", "down": "down", "left": "to the left, level"}
    return [(f"{face.name}: {clock[arm]}", value, room) for arm, value in face.arms().items()]


def girth_at(reading: Script, x: float) -> float:
    """Taped girth over bark at station x: the length of the section's convex hull. [mm]"""
    clock = clock_angles()
    radius = radius_at(reading.model, reading.model.radius_over_bark, x, clock)
    points = radius[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=-1)
    return float(ConvexHull(points).area)


def yields(pages: Pages, reading: Script, words: Words) -> None:
    """What the plan yields and takes for granted, with the script's cautions."""
    pages.heading("The plan")
    pages.table([], [[a, b] for a, b in facts(reading, words)], [22, 78], 9.5)
    for caution in reading.document.get("cautions", []):
        pages.text(f"• {sentence(caution)}", 9.5)
    pages.caution(f"{METAL} {GUARDS}")
    # last, for where the page is full it goes to the next, which a caution must not
    fewer_settings(pages, words, reading.document.get("proof", {}).get("trade_off", ()))


def facts(reading: Script, words: Words) -> list[tuple[str, str]]:
    """The log, what was assumed and what the plan yields, as rows."""
    doc = reading.document
    log, totals, doubt = doc["log"], doc["totals"], doc.get("uncertainty", {})
    mill = doc["inputs"]["mill"]
    mill = mill.get("mill", mill)
    reads = mill.get("scale_reads", "centre")
    unseen = (1.0 - float(doc["model"].get("coverage", 1.0))) * 360.0
    limits = sorted({plate["limits"] for plate in doc["plates"]})
    weight = max((one["weight_kg"] for one in reading.settings if one["piece"] == "log"), default=0.0)
    rows = [
        ("Log", f"{words.both(log['length'])} long, {words.length(log['diameter_butt'])} at the butt, "
                f"{words.length(log['diameter_top'])} at the top over bark, sweep {words.length(log['sweep'])}, "
                f"{words.volume(log['volume'])} under bark"
                + (f", about {words.weight(weight)}. {DOUBT}" if weight else "")),
        ("Assumed", ("pith NOT marked, the centre stands for it; " if doubt.get("pith_assumed") else "pith as marked; ")
                    + ("bark NOT on the card, the species' usual share; " if doubt.get("bark_assumed") else
                       "bark as on the card; ")
                    + f"{unseen:.0f}° of the girth unseen"),
        ("Heights", f"{mill.get('name', '')}. Every blade height is what the scale reads: the "
                    + ("kerf's centre" if reads == "centre" else "kerf's lower edge") + ". Lines are drawn at "
                    "the kerf's centre."),
        ("Yield", f"{words.volume(totals['instrument_volume'])} in {totals['plates']} plates"
                  + _spread(doubt.get("instrument_volume"), words)),
        ("Limits in force", ", ".join(_limits(doc, name) for name in limits) or "none"),
        ("Complete sets", ", ".join(f"{count} {name}" for name, count in totals.get("sets", {}).items() if count)
                          or "none"),
        ("Over practice", _practice(doc, words)),
        ("Work", f"{totals['settings']} charged settings, {totals['minutes']:.0f} minutes at the saws"),
    ]  # fmt: skip
    if reading.sawn:
        charged = sum(bool(one["charged"]) for one in reading.ahead)
        minutes = sum(one["minutes"] for one in reading.ahead)
        rows.append(("Still to come", f"{charged} charged settings, {minutes:.0f} minutes at the saws"))
    costs = [f"{text}, {words.volume(doubt['cost_of'][key])}" for key, text in COSTS.items()
             if key in doubt.get("cost_of", {})]  # fmt: skip
    if costs:
        rows.append(("If it is off", "lost by " + "; by ".join(costs)))
    return rows


def _spread(values: dict[str, float] | None, words: Words) -> str:
    if not values:
        return ""
    return (f"; between {words.volume(values['p10'])} and {words.volume(values['p90'])} four times in five, from what scan "
            "and card leave open")  # fmt: skip


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
