"""Totals added up anew from a script's own lists and from the pieces as sawn."""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import Any

from pithline.script.finding import Finding
from pithline.script.pieces import Sawn

SHARE = 0.005
EXACT = 1e-6


def sum_findings(document: dict[str, Any], sawn: Sawn) -> list[Finding]:
    """Every figure of `totals`, `practice.ratio` and `proof` that the script itself decides."""
    totals, found = document["totals"], []
    passing = [one for one in document["plates"] if one["passes"]]
    kept = {one["id"] for one in passing}
    settings = [one for one in document["operations"] if one["op"] == "setting"]
    sets = complete_sets(document)
    whole = sawn.log_volume
    offcuts = sum(sawn.volumes[name] for name in sawn.leaves() if name not in kept)
    volume = sum(one["volume"] for one in passing)
    for key, own, slack in (
        ("instrument_volume", volume, max(1.0, EXACT * volume)),
        ("plates", len(passing), 0.0),
        ("value", _value(document, sets), 0.005),
        ("kerf_volume", sawn.kerf_volume, SHARE * whole),
        ("offcut_volume", offcuts, SHARE * whole),
        ("minutes", sum(one["minutes"] for one in settings), 0.05),
        ("settings", sum(one["charged"] for one in settings), 0.0),
    ):
        if abs(totals[key] - own) > slack:
            words = f"totals state {key} {totals[key]:.6g}, {own:.6g} adds up"
            found.append(Finding("totals", f"totals.{key}", totals[key], own, words))
    for product in sorted(set(sets) | set(totals["sets"])):
        stated, own = totals["sets"].get(product, 0), sets.get(product, 0)
        if stated != own:
            words = f"totals state {stated} complete sets of {product}, {own} are among the plates"
            found.append(Finding("totals", f"totals.sets.{product}", stated, own, words))
    return [*found, *_ratio(document), *_proof(document["proof"])]


def complete_sets(document: dict[str, Any]) -> dict[str, int]:
    """Complete sets by product: every part in its count, passing, under one set id; bookmatched ones as mated pairs."""
    products = {one["name"]: one for one in document["inputs"]["products"]["product"]}
    plates = {one["id"]: one for one in document["plates"]}
    groups: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for one in document["plates"]:
        if one["set_id"] is not None and one["passes"]:
            groups[one["product"], one["set_id"]].append(one)
    found: Counter[str] = Counter()
    for (name, _), members in groups.items():
        if name in products and all(_has(part, members, plates) for part in products[name]["part"]):
            found[name] += 1
    return dict(found)


def _has(part: dict[str, Any], members: list[dict[str, Any]], plates: dict[str, dict[str, Any]]) -> bool:
    own = [one for one in members if one["part"] == part["name"]]
    if part["bookmatched"]:
        ids = {one["id"] for one in own}
        own = [one for one in own if one["mate"] in ids and plates[one["mate"]]["mate"] == one["id"]]
    return len(own) >= int(part["count"])


def _value(document: dict[str, Any], sets: dict[str, int]) -> float:
    total = 0.0
    for one in document["inputs"]["products"]["product"]:
        count, demand = sets.get(one["name"], 0), one.get("demand")
        total += one["price"] * (count if demand is None else min(count, demand))
    return total


def _ratio(document: dict[str, Any]) -> list[Finding]:
    practice = document["practice"]
    base, ratio = practice["with_bolts"]["instrument_volume"], practice["ratio"]
    if base <= 0.0:
        if ratio is None:
            return []
        words = f"practice.ratio is {ratio:g} over a practice layout without instrument wood; it should be null"
        return [Finding("totals", "practice.ratio", ratio, "null", words)]
    own = document["totals"]["instrument_volume"] / base
    if ratio is not None and abs(ratio - own) <= 1e-3 * max(own, 1e-3):
        return []
    stated = "null" if ratio is None else ratio
    return [Finding("totals", "practice.ratio", stated, own, f"practice.ratio is {stated}, it comes to {own:.4f}")]


def _proof(proof: dict[str, Any]) -> list[Finding]:
    objective, bound, gap = proof["objective"], proof["bound"], proof["gap"]
    slack = EXACT * max(abs(objective), abs(bound), 1.0)
    if bound < objective - slack:
        words = f"proof states a bound of {bound:.6g} under its objective of {objective:.6g}"
        return [Finding("proof", "proof.bound", bound, objective, words)]
    own = (bound - objective) / bound if bound > 0.0 else 0.0
    if gap is None or abs(gap - own) <= 1e-4:
        return []
    return [Finding("proof", "proof.gap", gap, own, f"proof states a gap of {gap:.5f}, it comes to {own:.5f}")]
