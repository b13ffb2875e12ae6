"""Set-ups: settings that share a cradle follow one another; cradles are those of the shop; minutes are those of its saws."""

from __future__ import annotations

from typing import Any

from pithline.script.finding import Finding
from pithline.script.pieces import Sawn
from pithline.script.structure import cuts_by_setting, history

FLAT_DEG = 0.05
LISTED_DEG = 0.05
MINUTES = 0.01
LONGER = 1.02
"""A cut is at most so many times as long as its piece's longest run of wood."""


def set_up_findings(document: dict[str, Any], sawn: Sawn, lengths: dict[str, float]) -> list[Finding]:
    """All findings about cradles, set-ups and minutes; `lengths` is how long each posed piece is, along the log. [mm]"""
    kept = history(document)
    settings = [one for one in document["operations"] if one["op"] == "setting" and one["id"] not in kept]
    if not any("set_up" in one for one in settings):  # written before set-ups were told
        return []
    return [
        *_cradles(settings, document["inputs"]["mill"]),
        *_order(settings),
        *_minutes(settings, document, lengths),
    ]


def _cradles(settings: list[dict[str, Any]], machines: dict[str, Any]) -> list[Finding]:
    """Angles other than flat are those of a cradle that the machine has, where it takes no other."""
    found = []
    for one in settings:
        against, saw = one.get("against"), machines.get(one["tool"], {})
        if one["tool"] not in ("mill", "resaw") or against is None or against["angle_deg"] < FLAT_DEG:
            continue
        if saw.get("cradle_any", True) or any(
            abs(against["angle_deg"] - own) < LISTED_DEG for own in saw.get("cradles_deg", ())
        ):
            continue
        words = (
            f"{one['id']} holds {one['piece']} at {against['angle_deg']:g}°, for which the {one['tool']} has no cradle"
        )
        found.append(Finding("cradle", one["id"], against["angle_deg"], str(saw.get("cradles_deg", [])), words))
    return found


def _order(settings: list[dict[str, Any]]) -> list[Finding]:
    """Charged settings name their set-up; one name is one machine at one angle, without another set-up in between."""
    found: list[Finding] = []
    ways: dict[str, tuple[str, float]] = {}
    last = None
    for one in settings:
        name = one.get("set_up")
        if one["charged"] != (name is not None):
            words = f"{one['id']} is {'charged and names no' if one['charged'] else 'free and names a'} set-up"
            found.append(Finding("set-up", one["id"], str(name), str(one["charged"]), words))
        if name is None:
            continue
        against = one.get("against")
        way = (one["tool"], 0.0 if against is None else round(float(against["angle_deg"]), 1))
        if name in ways and (name != last or ways[name] != way or against is None):
            words = f"{one['id']} belongs to {name}, which was of another machine or angle, or is taken down by now"
            found.append(Finding("set-up", one["id"], name, str(last), words))
        ways.setdefault(name, way)
        last = name
    return found


def _minutes(settings: list[dict[str, Any]], document: dict[str, Any], lengths: dict[str, float]) -> list[Finding]:
    """Minutes of a setting: for setting up, or setting up again, and for its cuts; none longer than the piece."""
    machines, found, seen = document["inputs"]["mill"], [], set()
    cuts = cuts_by_setting(document)
    for one in settings:
        saw, count = machines.get(one["tool"], {}), len(cuts[one["id"]])
        repeat = one.get("set_up") in seen
        seen.add(one.get("set_up"))
        fixed = saw.get("minutes_per_setting", 0.0) if one["charged"] or one["tool"] == "mill" else 0.0
        if one["charged"] and repeat:
            fixed = saw.get("minutes_repeat", fixed)
        least = fixed + count * saw.get("minutes_per_cut", 0.0) if one["tool"] != "buck" else 0.0
        most = least + saw.get("minutes_off_square", 0.0) + saw.get("minutes_per_setting", 0.0) * (not one["charged"])
        if saw.get("feed"):
            most += count * lengths.get(one["piece"], 0.0) * LONGER / saw["feed"]
        if one["tool"] == "buck":
            most = machines["mill"].get("minutes_per_setting", 0.0) + count * 60.0
        if not least - MINUTES <= one["minutes"] <= most + MINUTES:
            words = f"{one['id']} takes {one['minutes']:.1f} minutes for {count} cuts; by the mill file it is {least:.1f} to {most:.1f}"
            found.append(Finding("minutes", one["id"], one["minutes"], most, words))
    return found
