"""The appraisal as one page that holds everything and fetches nothing; it reads on a phone in the yard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from markupsafe import Markup

from pithline.outputs.html_page import render, source
from pithline.outputs.reports.appraisal_document import M3, RULES, in_currency, sets_in_words, span
from pithline.outputs.reports.appraisal_pictures import Pictures
from pithline.trade.weights import heaviest_likely
from pithline.units import KG_PER_POUND, MM3_PER_LITRE

BASIS = {
    "scan": "scanned all round, but for what it lies on",
    "one flank": "one flank scanned",
    "tape": "by tape only",
}
LEAST_WORTH = 0.5
"""What is worth less than this to find out is not worth a line; in the currency."""
THINNEST = 0.4
"""A span is drawn at least this wide, in per cent of the bar."""


class NamedFact(NamedTuple):
    """A name and what it is."""

    name: str
    words: str | Markup


class WorthFinding(NamedTuple):
    """What is worth finding out, in money, with its standard error."""

    what: str
    worth: str
    error: str


@dataclass(frozen=True, slots=True)
class Bar:
    """The span of the value, its median, the highest bid and the price asked, in per cent of one scale for the page."""

    words: str
    low: str
    middle: str
    high: str
    bid: str
    asked: str | None


@dataclass(frozen=True, slots=True)
class LotEntry:
    """What the page says of one log; of one that failed only why."""

    id: str
    anchor: str
    standing: str
    why: str
    failed: bool = True
    rank: int = 0
    bid: str = ""
    asked: str = ""
    basis: str = ""
    span: Bar | None = None
    money: tuple[NamedFact, ...] = ()
    trade: tuple[NamedFact, ...] = ()
    spoilers: tuple[str, ...] = ()
    worth: tuple[WorthFinding, ...] = ()
    not_worth: str = ""
    cautions: tuple[str, ...] = ()
    pictures: Pictures | None = None


def appraisal_html(document: Mapping[str, Any], pictures: Sequence[Pictures | None]) -> bytes:
    """The page of an appraisal (docs/schemas/appraisal.schema.json); `pictures` in the order of the document's logs."""
    return render(
        "reports/appraisal.html",
        style=source("reports/appraisal.css"),
        on=document["on"],
        currency=in_currency(document["currency"]),
        bid_margin=f"{document['bid_margin']:.0%}",
        logs=appraisal_entries(document, pictures),
        samples=document["samples"],
        objective=document["objective"],
        seed=document["seed"],
        answers=document["answers"],
        inner=document["inner"],
    )


def appraisal_entries(document: Mapping[str, Any], pictures: Sequence[Pictures | None]) -> list[LotEntry]:
    """What is said of each log of an appraisal, in its order; all bars have one scale."""
    logs = document["logs"]
    most = max((log["value"]["p90"] for log in logs if log["state"] == "appraised"), default=0.0)
    most = max([most, *[log["asked"] or 0.0 for log in logs]]) or 1.0
    return [_entry(log, drawn, most) for log, drawn in zip(logs, pictures, strict=True)]


def _entry(log: Mapping[str, Any], pictures: Pictures | None, most: float) -> LotEntry:
    anchor = "log-" + "".join(c if c.isalnum() else "-" for c in str(log["id"]))
    if log["state"] == "failed":
        return LotEntry(log["id"], anchor, "failed", log["why"])
    pays = [one for one in log["worth_finding_out"] if one["worth"] >= LEAST_WORTH]
    others = ", ".join(one["what"] for one in log["worth_finding_out"] if one not in pays)
    return LotEntry(
        log["id"], anchor, _standing(log), log["why"], failed=False,
        rank=log["rank"],
        bid=f"{log['highest_bid']:.0f}",
        asked="–" if log["asked"] is None else f"{log['asked']:.0f}",
        basis=f"{log['species']}, {log['length'] / 1000:.2f} m, {BASIS[log['basis']]}{_crosscut_first(log)}",
        span=_bar(log, most),
        money=_money(log),
        trade=_trade(log),
        spoilers=tuple(log["spoilers"]),
        worth=tuple(WorthFinding(one["what"], f"{one['worth']:.0f}", f"{one['error']:.0f}") for one in pays),
        not_worth=f"no gain seen in {others}" if others else "" if pays else "nothing more",
        cautions=tuple(log["cautions"]),
        pictures=pictures,
    )  # fmt: skip


def _standing(log: Mapping[str, Any]) -> str:
    if log["asked"] is None:
        return "open"
    return "worth" if log["highest_bid"] >= log["asked"] else "dear"


def _bar(log: Mapping[str, Any], most: float) -> Bar:
    value = log["value"]
    low, middle, high = (100.0 * max(value[key], 0.0) / most for key in ("p10", "p50", "p90"))
    return Bar(
        words=f"earns {value['p10']:.0f} to {value['p90']:.0f}, median {value['p50']:.0f}; highest bid {log['highest_bid']:.0f}",
        low=f"{low:.1f}",
        middle=f"{middle:.1f}",
        high=f"{max(high, low + THINNEST):.1f}",
        bid=f"{100.0 * log['highest_bid'] / most:.1f}",
        asked=None if log["asked"] is None else f"{100.0 * log['asked'] / most:.1f}",
    )


def _money(log: Mapping[str, Any]) -> tuple[NamedFact, ...]:
    value, sales, volume, costs = log["value"], log["sales"], log["volume"], log["costs"]
    asked = "" if log["asked"] is None else f", asked {log['asked']:.0f}"
    other = log["other_buyer"]
    return (
        NamedFact("highest bid", Markup("<b>{:.0f}</b>{}").format(log["highest_bid"], asked)),
        NamedFact(
            "another buyer", f"about {other['gives']:.0f}, {other['price']:.2f} a board foot by {RULES[other['rule']]}"
        ),
        NamedFact("complete sets", sets_in_words(log)),
        NamedFact("sells for", f"{span(sales)}, on average {sales['mean']:.0f} ± {sales['error']:.0f}"),
        NamedFact("earns, net of hours", f"{span(value)}, on average {value['mean']:.0f}"),
        NamedFact("as most likely", _planned(log)),
        NamedFact("plates", f"{span(volume, MM3_PER_LITRE, 1)} L, on average {volume['mean'] / MM3_PER_LITRE:.1f} L"),
        NamedFact("rest of the log", f"{log['rest_value']:.0f}" if log["rest_value"] else "not counted, no price set"),
        NamedFact(
            "costs",
            f"sawing {costs['sawing']:.0f} ({log['minutes'] / 60:.1f} h), drying {costs['drying']:.0f} "
            f"({log['drying_months']:.1f} months), bands lost to metal {costs['metal']:.0f} (chance {log['metal_chance']:.0%})",
        ),
    )


def _planned(log: Mapping[str, Any]) -> str:
    """What its plan gives where nothing is hidden in it."""
    plan = log["plan"]
    sets = ", ".join(f"{n} {name}" for name, n in plan["sets"].items() if n) or "no set"
    how = f"{plan['way']}, {plan['set_ups']} set-ups" if plan["searched"] else "practice layout, for no plan was found"
    return f"{sets}; earns {plan['earnings']:.0f} ({how})"


def _trade(log: Mapping[str, Any]) -> tuple[NamedFact, ...]:
    scaled, per_foot = log["scaled"], log["bid_per_board_foot"]
    rows = [
        NamedFact(
            f"board feet, {RULES[rule]}",
            f"{feet} as bought, exactly {log['log_rules'][rule]:.0f}"
            + ("" if per_foot[rule] is None else f"; the bid is {per_foot[rule]:.2f} a board foot"),
        )
        for rule, feet in scaled["board_feet"].items()
    ]
    weight = log["green_weight_kg"]
    return (
        NamedFact(
            "scales",
            f"{scaled['inches']} in by {scaled['feet']} ft; small end {log['diameter_small_end']:.0f} mm inside bark",
        ),
        *rows,
        NamedFact(
            "volume", f"{log['cubic_volume'] / M3:.3f} m³ inside, {log['cubic_volume_over_bark'] / M3:.3f} m³ over bark"
        ),
        NamedFact(
            "green weight",
            f"{weight:.0f} kg ({weight / KG_PER_POUND:.0f} lb); allow for {heaviest_likely(weight):.0f} kg",
        ),
    )


def _crosscut_first(log: Mapping[str, Any]) -> str:
    """Where the log is crosscut before it is sawn."""
    at = " and ".join(f"{place / 1000:.2f} m" for place in log["crosscuts"])
    return f"; crosscut first, {at} from the butt" if at else ""
