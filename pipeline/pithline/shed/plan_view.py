"""What the pages show of a plan, made of its cut script with the sheet's own words and kept beside it until the script changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.errors import PithlineError
from pithline.files.read import read_bytes
from pithline.files.write import write_folder
from pithline.logmodel.model import LogModel
from pithline.outputs.cut_script.document import CutScript
from pithline.outputs.ends import end_face
from pithline.outputs.formatting import Formatter, count, sentence
from pithline.outputs.palette import NEUTRAL, looks
from pithline.outputs.print_job import PrintJob, print_job
from pithline.outputs.results import (
    SELL,
    Results,
    left_in_words,
    litres_in_words,
    money_in_words,
    results_of,
    results_of_totals,
    sets_in_words,
    till_in_words,
)
from pithline.outputs.sheet.first_page import arm_measures, whole_measures
from pithline.outputs.sheet.ladder import rung_title, rung_words
from pithline.script.document import loads
from pithline.shed.drawing import STYLE, plan_end
from pithline.shed.folder import SCRIPT, YardFolder
from pithline.shed.saw_steps import saw_steps

Array = NDArray[np.float64]
LEFT = "left, log paid"
"""The figure of the till once the log is paid for."""
FORMAT = 11
"""Of the kept views: older ones are made anew."""
EARLIER = "earlier.json"
"""In the folder of a plan made anew at the saw: the plan that it takes the place of."""

LEAST_WOOD = 5.0e4
"""A difference of wood that is told. [mm³]"""


def keep_view(yard: YardFolder, plan: Path, units: str) -> dict[str, Any]:
    """Make the view of a plan and keep it."""
    view = view_of(plan, units, earlier_plan(yard, plan))
    write_folder(
        yard.hidden / "views",
        {_file(view["hash"], units): json.dumps(view, ensure_ascii=False, separators=(",", ":")).encode()},
    )
    return view


def kept_view(yard: YardFolder, plan: Path, units: str) -> dict[str, Any] | None:
    """The view of a plan as it was kept; `None` where none is, or the script has changed since."""
    try:
        path = yard.hidden / "views" / _file(script_hash(plan), units)
        found = _read_view(str(path), path.stat().st_mtime_ns)
    except (OSError, ValueError, PithlineError):
        return None
    return found if found.get("view") == FORMAT else None


@lru_cache(maxsize=64)
def _read_view(path: str, changed: int) -> dict[str, Any]:
    """A view, held in memory while its file stays the same: pages ask for it again and again."""
    found: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    return found


def script_hash(plan: Path) -> str:
    """Tells one cut script from another."""
    path = plan / SCRIPT
    return _hash(str(path), path.stat().st_mtime_ns)


@lru_cache(maxsize=1024)
def _hash(path: str, changed: int) -> str:
    return hashlib.sha256(read_bytes(path)).hexdigest()[:16]


def _file(script: str, units: str) -> str:
    return f"{script}-{units}.json"


def write_earlier(plan: Path, earlier: str) -> None:
    """Keep beside a plan made anew which plan it takes the place of, by its name within the yard."""
    write_folder(plan, {EARLIER: json.dumps({"plan": earlier}, ensure_ascii=False).encode()})


def earlier_plan(yard: YardFolder, plan: Path) -> Path | None:
    """The plan that one takes the place of; `None` where it is not told, or lies in the yard no more."""
    try:
        name = json.loads((plan / EARLIER).read_text(encoding="utf-8"))["plan"]
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return next((one.path for log in yard.logs() for one in log.plans if one.name == name and one.path != plan), None)


def view_of(plan: Path, units: str, earlier: Path | None = None) -> dict[str, Any]:
    """All that the pages show of a plan, beside the plan that it takes the place of, where there is one.

    Raises
    ------
    ScriptError
        Where a part of the script is missing or misshapen.
    """
    written = read_bytes(plan / SCRIPT)
    job = print_job(loads(written), units)
    script = job.log.script
    return {
        "view": FORMAT,
        "hash": hashlib.sha256(written).hexdigest()[:16],
        "units": units,
        "log": script.log.id,
        "ladder": _ladder(job, plan),
        "customary": _customary(job),
        "cautions": [sentence(job.fmt.retold(text)) for text in script.cautions],
        "replanned": [sentence(job.fmt.retold(text)) for text in script.replan.changed] if script.replan else None,
        "against": _against(job, earlier) if script.replan and earlier else "",
        "measures": _measures(job),
        "steps": saw_steps(job),
        "cuts": {cut.id: [job.log.cut_numbers[cut.id], job.log.mark(cut.piece)] for cut in script.cuts},
        "marks": [job.log.mark(piece.id) for piece in script.pieces],
    }


def _ladder(job: PrintJob, plan: Path) -> list[dict[str, Any]]:
    """The plans side by side, by rising work; the plan alone where it has no ladder."""
    script = job.log.script
    raw = script.raw["proof"].get("ladder") or [{"title": "", "chosen": True, "script": None, **script.raw["totals"]}]
    words = rung_words(job) or [""]
    rows = []
    for at, (row, said) in enumerate(zip(raw, [*words, *[""] * len(raw)], strict=False)):
        place = row.get("script")
        own = script if row.get("chosen") else None
        if own is None and place and (plan / place).is_file():
            own = print_job(loads((plan / place).read_bytes()), job.fmt.units).log.script
        totals = script.rungs[at].totals if at < len(script.rungs) else script.totals
        found = (
            results_of(own) if own else results_of_totals(totals, script.inputs.products, script.inputs.mill.hour_rate)
        )
        rows.append(
            {
                "title": rung_title(row.get("title") or "")
                or ("the rest, planned anew" if script.replan else "the plan"),
                "own": own is not None,
                "chosen": bool(row.get("chosen")),
                "words": sentence(said.replace("**", "")) if said else "",
                "figures": figures_of(found, job.fmt, script.inputs.products.currency, script.inputs.log_cost),
                "earnings": found.earnings,
                "hours": found.hours,
                "sets": sum(found.sets.values()),
                "picture": _picture(own, row.get("title") or "the plan", f"{plan.name}-{at}") if own else None,
            }
        )
    return rows


def figures_of(found: Results, fmt: Formatter, currency: str, log_cost: float | None = None) -> list[list[str]]:
    """The figures that lead, each with its name; `log_cost` is what the log cost, where the card tells."""
    return [
        ["complete sets", sets_in_words(found)],
        ["wood in sets", litres_in_words(found.set_volume, fmt) + till_in_words(found.sets_sell, SELL, currency)],
        ["loose plates", litres_in_words(found.loose_volume, fmt) + till_in_words(found.loose_sell, SELL, currency)],
        ["hours at the saws", f"{found.hours:.1f} h"],
        ["set-ups", str(found.set_ups)],
        ["earns", money_in_words(found.earnings, currency)],
        ["an hour earns", money_in_words(found.an_hour, currency)],
        *([] if log_cost is None else [[LEFT, left_in_words(found, log_cost, currency)]]),
    ]


def _against(job: PrintJob, earlier: Path) -> str:
    """What a plan made anew gained or lost against the plan before; empty where that cannot be read."""
    try:
        old = print_job(loads(read_bytes(earlier / SCRIPT)), job.fmt.units).log.script
    except PithlineError:
        return ""
    new, likely = job.log.script, all(one.doubts.earnings for one in (job.log.script, old))
    before, now = (
        result if likely else replace(result, earnings=result.earnings_fitted)
        for result in (results_of(old), results_of(new))
    )
    return f"Against {earlier.name}, which it takes the place of: {gain_in_words(before, now, job.fmt, new.inputs.products.currency)}."


def gain_in_words(before: Results, now: Results, fmt: Formatter, currency: str) -> str:
    """What one plan brings more and less than another: sets, wood in them, hours, money."""
    words = []
    for kind, what in (("sets", " set"), ("singles", "")):
        old, new = getattr(before, kind), getattr(now, kind)
        for name in dict.fromkeys([*old, *new]):
            if more := new.get(name, 0) - old.get(name, 0):
                words.append(f"{abs(more)} {'more' if more > 0 else 'fewer'} {_plural(name + what, abs(more))}")
    if before.set_volume is not None and now.set_volume is not None:
        wood = now.set_volume - before.set_volume
        if abs(wood) >= LEAST_WOOD:
            words.append(f"{fmt.volume(abs(wood))} {'more' if wood > 0 else 'less'} wood in sets")
    hours = round(round(now.hours, 1) - round(before.hours, 1), 1)  # as the figures beside it are written
    if hours:
        words.append(f"{abs(hours):.1f} h {'more' if hours > 0 else 'less'} at the saws")
    if before.earnings is not None and now.earnings is not None:
        money = round(now.earnings) - round(before.earnings)
        if money:
            words.append(f"earns {money_in_words(abs(money), currency)} {'more' if money > 0 else 'less'}")
    return "; ".join(words) or "as many sets, as much wood, as many hours and as much money"


def _plural(what: str, number: int) -> str:
    return count(number, what).partition(" ")[2]


def _customary(job: PrintJob) -> list[list[str]] | None:
    script = job.log.script
    if script.practice is None:
        return None
    inputs = script.inputs
    return figures_of(
        results_of_totals(script.practice.with_bolts, inputs.products, inputs.mill.hour_rate),
        job.fmt,
        inputs.products.currency,
        inputs.log_cost,
    )


def _measures(job: PrintJob) -> list[list[str]]:
    """What is taped before the first cut: what, planned, and by how much it may differ."""
    log, fmt = job.log, job.fmt
    rows = list(whole_measures(log, fmt))
    named = [(end.name, one) for end in log.ends("log") for one in arm_measures(log, end)]
    return [[one.what, fmt.length(one.plan), f"± {fmt.length(one.room)}"] for one in rows] + [
        [f"{name} end, pith to bark: {one.what}", fmt.length(one.plan), f"± {fmt.length(one.room)}"]
        for name, one in named
    ]


def _picture(script: CutScript, title: str, mark: str) -> dict[str, Any]:
    return drawn_end(end_picture(script), title, mark)


def drawn_end(found: Mapping[str, Any], title: str, mark: str) -> dict[str, Any]:
    """The end's drawing, made once, as a picture that stands by itself; and the looks that its legend tells."""
    drawn = plan_end(found, f"The butt end with the plates of the plan {title}", mark)
    return {
        "svg": drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).replace(
            "<defs>", f"{STYLE}<defs>", 1
        ),
        "looks": found["looks"],
    }


def end_picture(script: CutScript) -> dict[str, Any]:
    """The butt end with the plates that lie behind it, as seen facing it: (right, up) in mm from the pith."""
    boxes = [
        PlateBox(plate.corner, plate.edges, f"{plate.product}, {plate.part}", plate.passes) for plate in script.plates
    ]
    return picture_of(script.model, boxes, script.raw["inputs"]["products"])


@dataclass(frozen=True, slots=True)
class PlateBox:
    """A plate as a picture needs it: a corner (3,) and its edges (3, 3) in the log frame [mm], what it is, whether it passes."""

    corner: Array
    edges: Array
    name: str
    passes: bool


def picture_of(model: LogModel, plates: Sequence[PlateBox], products: Mapping[str, Any]) -> dict[str, Any]:
    """The same of any plates; parts of the products, as read, look alike in every picture of a plan."""
    face = end_face(model, "butt", model.butt)
    station = _station(model, plates)
    named = {
        f"{product['name']}, {part['name']}"
        for product in products.get("product", [])
        for part in product.get("part", [])
    }
    used = {plate.name for plate in plates}
    parts = looks(named | used)
    return {
        "bark": _rounded(face.over_bark[::3]),
        "wood": _rounded(face.under_bark[::3]),
        "plates": list(_plates(model, plates, station, parts)),
        "looks": {name: list(look) for name, look in parts.items() if name in used},
    }


def _station(model: LogModel, plates: Sequence[PlateBox]) -> float:
    """The station that most plates lie at."""
    spans = [_span(plate) for plate in plates]
    at = np.linspace(0.0, model.length, 41)
    counts = [sum(low <= x <= high for low, high in spans) for x in at]
    return float(at[int(np.argmax(counts))]) if spans else model.length / 2.0


def _span(plate: PlateBox) -> tuple[float, float]:
    """Where along the log a plate lies. [mm]"""
    one, other = float(plate.corner[0]), float(plate.corner[0] + plate.edges[:, 0].sum())
    return min(one, other), max(one, other)


def _plates(
    model: LogModel, plates: Sequence[PlateBox], station: float, parts: Mapping[str, Any]
) -> Iterator[dict[str, Any]]:
    pith = model.splines(model.pith)(station)
    for plate in plates:
        low, high = _span(plate)
        if not low <= station <= high:
            continue
        length = plate.edges[0]
        share = (station - plate.corner[0]) / length[0] if abs(length[0]) > 1e-6 else 0.5
        start = plate.corner + share * length
        width, thick = plate.edges[1], plate.edges[2]
        corners = np.array([start, start + width, start + width + thick, start + thick])[:, 1:] - pith
        yield {
            "at": _rounded(np.column_stack([-corners[:, 0], corners[:, 1]])),
            "part": plate.name,
            "passes": plate.passes,
            "colour": parts[plate.name].colour if plate.passes else NEUTRAL,
        }


def _rounded(points: Any) -> list[list[float]]:
    found: list[list[float]] = np.round(np.asarray(points, float), 1).tolist()
    return found
