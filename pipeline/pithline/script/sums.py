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
    whole, mill = sawn.log_volume, document["inputs"]["mill"]["mill"]
    offcuts = sum(sawn.volumes[name] for name in sawn.leaves() if name not in kept)
    volume = sum(one["volume"] for one in passing)
    for key, own, slack in (
        ("instrument_volume", volume, max(1.0, EXACT * volume)),
        ("plates", len(passing), 0.0),
        ("value", _value(document, sets) + _figured_sets(document), 0.005),
        ("kerf_volume", sawn.kerf_volume, SHARE * whole),
        ("offcut_volume", offcuts, SHARE * whole),
        ("minutes", sum(one["minutes"] for one in settings) + mill.get("minutes_per_log", 0.0), 0.05),
        ("settings", sum(one["charged"] for one in settings), 0.0),
        *_money(document, passing),
    ):
        if key in totals and abs(totals[key] - own) > slack:
            words = f"totals state {key} {totals[key]:.6g}, {own:.6g} adds up"
            found.append(Finding("totals", f"totals.{key}", totals[key], own, words))
    for product in sorted(set(sets) | set(totals["sets"])):
        stated, own = totals["sets"].get(product, 0), sets.get(product, 0)
        if stated != own:
            words = f"totals state {stated} complete sets of {product}, {own} are among the plates"
            found.append(Finding("totals", f"totals.sets.{product}", stated, own, words))
    return [*found, *_ratio(document), *_proof(document["proof"])]


Row = tuple[str, float, float]
"""A key of `totals`, what it comes to, and how far the stated figure may lie off."""


def _money(document: dict[str, Any], passing: list[dict[str, Any]]) -> list[Row]:
    """Litres in sets and loose, what loose plates bring, labour, earnings, distinct set-ups."""
    totals, mill = document["totals"], document["inputs"]["mill"]["mill"]
    in_sets = sum(one["volume"] for one in passing if one["set_id"] is not None)
    volume = sum(one["volume"] for one in passing)
    loose = _loose_value(document, passing)
    labour = totals["minutes"] * mill.get("hour_rate", 0.0) / 60.0
    slack = max(1.0, EXACT * volume)
    charged = [one for one in document["operations"] if one["op"] == "setting" and one["charged"]]
    return [
        ("set_volume", in_sets, slack),
        ("loose_volume", volume - in_sets, slack),
        ("loose_value", loose, 0.005),
        ("labour", labour, 0.005),
        ("earnings", totals["value"] + loose - labour, 0.02),
        ("set_ups", len({one.get("set_up", one["id"]) for one in charged}), 0.0),
    ]


def _loose_value(document: dict[str, Any], passing: list[dict[str, Any]]) -> float:
    """Passing plates in no set at their part's price, bookmatched ones in mated pairs, no more than are wanted."""
    total = 0.0
    for product in document["inputs"]["products"]["product"]:
        for part in product["part"]:
            own = [one for one in passing if (one["product"], one["part"]) == (product["name"], part["name"])]
            loose = [one for one in own if one["set_id"] is None and (one["mate"] or not part["bookmatched"])]
            count = len(loose)
            if product.get("demand") is not None:
                count = min(count, product["demand"] * part["count"] - sum(one["set_id"] is not None for one in own))
            count = count // 2 * 2 if part["bookmatched"] else count
            best = sorted((one.get("figure", 1.0) for one in loose), reverse=True)[:count]
            total += part.get("loose_price", 0.0) * sum(best) / (2 if part["bookmatched"] else 1)
    return total


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


def _figured_sets(document: dict[str, Any]) -> float:
    """What figure adds to the price of sets: the least factor among each one's widest plates counts."""
    products = {one["name"]: one for one in document["inputs"]["products"]["product"]}
    factors: dict[tuple[str, str], float] = {}
    for one in document["plates"]:
        parts = products.get(one["product"], {}).get("part", [])
        widest = {part["name"] for part in parts if part["width"] >= max(each["width"] for each in parts)}
        if one["passes"] and one["set_id"] is not None and one["part"] in widest:
            own = (one["product"], one["set_id"])
            factors[own] = min(factors.get(own, float("inf")), one.get("figure", 1.0))
    return float(sum((factor - 1.0) * products[product]["price"] for (product, _), factor in factors.items()))


def _ratio(document: dict[str, Any]) -> list[Finding]:
    """How many times the practice layout: by what the plan was asked for, and by volume. Older scripts tell the latter alone."""
    practice = document["practice"]
    plan, beside = document["totals"], practice["with_bolts"]
    if "volume_ratio" not in practice:
        return _times("ratio", practice["ratio"], plan["instrument_volume"], beside["instrument_volume"])
    asked, share = document["proof"].get("asks_for", "volume"), document["inputs"]["products"].get("loose_share", 0.1)
    if "set_volume" not in beside:  # planned anew from a script that did not part sets from loose plates
        asked = "volume"
    return [
        *_times("ratio", practice["ratio"], _worth(plan, asked, share), _worth(beside, asked, share)),
        *_times("volume_ratio", practice["volume_ratio"], plan["instrument_volume"], beside["instrument_volume"]),
    ]


def _worth(totals: dict[str, Any], asked: str, share: float) -> float:
    """What a totals table is worth under an objective, uncharged: money, or mm³."""
    if asked == "value":
        return float(totals["value"] + totals["loose_value"])
    if asked == "volume":
        return float(totals["instrument_volume"])
    return float(totals["set_volume"] + share * totals["loose_volume"])


def _times(key: str, ratio: float | None, plan: float, base: float) -> list[Finding]:
    if base <= 0.0:
        if ratio is None:
            return []
        words = f"practice.{key} is {ratio:g} over a practice layout that is worth nothing; it should be null"
        return [Finding("totals", f"practice.{key}", ratio, "null", words)]
    own = plan / base
    if ratio is not None and abs(ratio - own) <= 1e-3 * max(own, 1e-3):
        return []
    stated = "null" if ratio is None else ratio
    return [Finding("totals", f"practice.{key}", stated, own, f"practice.{key} is {stated}, it comes to {own:.4f}")]


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
