"""How far a log is sawn, and what was found in it: a file beside the plan, written event by event."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from pithline.errors import InputError
from pithline.files.found import found_as_read
from pithline.files.write import write_folder
from pithline.shed.card_edit import as_typed
from pithline.shed.card_form import DEFECTS

STATE, FOUND = "sawing.json", "found.toml"
MOST_EVENTS = 2000
"""Events whose names are remembered, so that one sent twice counts once."""
MOST_AT_ONCE = 500

FOUND_FORMS: dict[str, tuple[str, tuple[tuple[str, str, str], ...]]] = {
    "cut": (
        "A cut at another height over the marks",
        (("id", "Number of the cut", "text"), ("from_mark", "Its height over the marks' mean", "length")),
    ),
    "thickness": (
        "A piece of another thickness",
        (("id", "Its crayon mark", "text"), ("thickness", "Its thickness", "length")),
    ),
    "spoilt": ("A piece that is spoilt", (("id", "Its crayon mark", "text"),)),
    "pith": (
        "The pith elsewhere on an end",
        (
            ("end", "Which end", "end"),
            ("from_left", "From the leftmost point over bark", "length"),
            ("from_top", "From the topmost point over bark", "length"),
        ),
    ),
    "seen": (
        "The pith elsewhere on a sawn face",
        (
            ("x", "From the butt end, along the log", "length"),
            ("up", "Over the plan's, 12 o'clock line upright; with a minus where under", "length"),
            ("right", "Right of the plan's, facing the butt end; with a minus where left", "length"),
        ),
    ),
    "figure": (
        "Figure",
        (
            ("words", "What it is, such as curl", "text"),
            ("factor", "Times the price that such plates sell at", "number"),
            ("from", "From the butt end, where it begins; empty: from the end", "length"),
            ("to", "Where it ends; empty: to the other end", "length"),
        ),
    ),
    "bark": ("Bark thicker or thinner", (("thickness", "Its thickness", "length"),)),
    "sapwood": ("Sapwood thicker or thinner", (("thickness", "Its thickness", "length"),)),
    **{
        kind: (f"A {kind}" if kind in ("knot", "check") else kind.capitalize(), fields)
        for kind, fields in DEFECTS.items()
    },
}
"""What may be found: its name, and each field's key, label and kind."""
MAY_BE_EMPTY = ("margin", "from", "to")

State = dict[str, Any]


def read_state(plan: Path, script: str) -> State:
    """How far this plan is sawn; nothing of it where the file is of another script, or there is none."""
    try:
        found = json.loads((plan / STATE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        found = {}
    if not isinstance(found, dict) or found.get("script") != script:
        return {
            "format": "pithline-sawing",
            "version": 1,
            "script": script,
            "done": [],
            "heights": {},
            "found": [],
            "events": [],
        }
    return found


def with_events(state: State, events: Sequence[Any], steps: frozenset[str]) -> State:
    """The state after what happened on a page; an event that was counted before changes nothing.

    Raises
    ------
    InputError
        Where an event is none that can happen.
    """
    if len(events) > MOST_AT_ONCE:
        raise InputError("too much was sent at once; load the page again.")
    made = {
        key: list(value) if isinstance(value, list) else dict(value) if isinstance(value, dict) else value
        for key, value in state.items()
    }
    for event in events:
        if not isinstance(event, Mapping) or not isinstance(event.get("name"), str) or len(event["name"]) > 60:
            raise InputError("something was sent that is no event of this page; load it again.")
        if event["name"] in made["events"]:
            continue
        _apply(made, event, steps)
        made["events"] = [*made["events"], event["name"]][-MOST_EVENTS:]
    return made


def _apply(state: State, event: Mapping[str, Any], steps: frozenset[str]) -> None:
    what, step = event.get("what"), event.get("step")
    if what in ("done", "undone", "heights") and step not in steps:
        raise InputError("that step is not of this plan; load the page again.")
    if what == "done":
        state["done"] = [*(one for one in state["done"] if one != step), step]
    elif what == "undone":
        state["done"] = [one for one in state["done"] if one != step]
    elif what == "heights":
        values = event.get("values")
        if (
            not isinstance(values, list)
            or len(values) != 2
            or not all(isinstance(one, int | float) and abs(one) < 1e5 for one in values)
        ):
            raise InputError("the heights found are no two lengths; write them again.")
        state["heights"][step] = [float(one) for one in values]
    elif what == "found":
        state["found"] = [*state["found"], {"name": event["name"], **checked_find(event.get("find"))}]
    elif what == "unfound":
        state["found"] = [one for one in state["found"] if one["name"] != event.get("of")]
    else:
        raise InputError("something was sent that is no event of this page; load it again.")


def checked_find(find: Any) -> State:
    """A find as its form was filled in; InputError says which field cannot be used."""
    if not isinstance(find, Mapping) or find.get("kind") not in FOUND_FORMS:
        raise InputError("what was found is of no known kind; choose one from the list.")
    made: State = {"kind": find["kind"]}
    for key, label, kind in FOUND_FORMS[find["kind"]][1]:
        text = str(find.get(key, ""))[:80]
        value = as_typed(label, text, kind)
        if value is None and key not in MAY_BE_EMPTY:
            raise InputError(f"{label} is empty; write it, or leave the find out.")
        if value is not None:
            made[key] = value
    _read_back(found_text([made]))
    return made


def found_text(finds: Sequence[Mapping[str, Any]]) -> str:
    """The file that `pithline replan` reads."""
    document = tomlkit.document()
    document.add(tomlkit.comment("What was found while sawing, as entered on the saw's page."))
    pith = tomlkit.table()
    for find in finds:
        if find["kind"] == "pith":
            mark = tomlkit.inline_table()
            mark.update({"from_left": find["from_left"], "from_top": find["from_top"]})
            pith[find["end"]] = mark
    if seen := _rows(finds, "seen"):
        pith["seen"] = _tables(seen)
    if pith:
        document.add("pith", pith)
    for kind in ("bark", "sapwood"):
        for find in (one for one in finds if one["kind"] == kind):
            document[kind] = {"thickness": find["thickness"]}
    figures = [{"kind": one.pop("words"), **one} for one in _rows(finds, "figure")]
    tables = {"defect": _defects(finds), "figure": figures, "cut": _rows(finds, "cut"), "piece": _pieces(finds)}
    for table, rows in tables.items():
        if rows:
            document.add(table, _tables(rows))
    return tomlkit.dumps(document)


def _tables(rows: Sequence[State]) -> tomlkit.items.AoT:
    array = tomlkit.aot()
    for row in rows:
        array.append(tomlkit.item(row))
    return array


def _defects(finds: Sequence[Mapping[str, Any]]) -> list[State]:
    return [{key: value for key, value in one.items() if key != "name"} for one in finds if one["kind"] in DEFECTS]


def _rows(finds: Sequence[Mapping[str, Any]], kind: str) -> list[State]:
    return [
        {key: value for key, value in one.items() if key not in ("name", "kind")}
        for one in finds
        if one["kind"] == kind
    ]


def _pieces(finds: Sequence[Mapping[str, Any]]) -> list[State]:
    return [*_rows(finds, "thickness"), *({**row, "spoilt": True} for row in _rows(finds, "spoilt"))]


def _read_back(text: str) -> None:
    """Refuse what the command's own reader would refuse, in its words."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / FOUND
        path.write_text(text, encoding="utf-8")
        try:
            found_as_read(path)
        except InputError as error:
            raise InputError(str(error).replace(f"{path}: ", "")) from None


def write_sawing(plan: Path, state: State) -> None:
    """Write how far the log is sawn."""
    write_folder(plan, {STATE: json.dumps(state, ensure_ascii=False).encode()})


def write_found(plan: Path, state: State) -> None:
    """Write what was found, as `pithline replan --found` reads it."""
    text = found_text(state["found"])
    _read_back(text)
    write_folder(plan, {FOUND: text.encode()})


def last_cut(state: State, steps: Sequence[Mapping[str, Any]], cuts: Sequence[str]) -> tuple[str | None, int]:
    """The last cut up to which all is sawn, in the script's own order, and how many sawn cuts lie beyond it."""
    done = set(state["done"])
    sawn = {cut for step in steps if step["id"] in done for cut in step["cuts"]}
    last, count = None, 0
    for cut in cuts:
        if cut not in sawn:
            break
        last, count = cut, count + 1
    return last, len(sawn) - count
