"""The season's report: one page that stands alone, for a desk and for a phone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from markupsafe import Markup

from pithline.outputs.html_page import render, source
from pithline.outputs.reports.season_plots import season_plots

PLOTS = {"value": "Value and cost by log", "orders": "Sets asked for and ready", "hours": "Hours at the mill by week"}
STATES = {"left": "stays in the yard", "failed": "could not be planned"}
CENT = 0.005
"""Amounts of money nearer than this are the same."""


class LeadFigure(NamedTuple):
    """A figure that leads the page, and what it is."""

    figure: str
    what: str


class Plot(NamedTuple):
    """A picture under its title."""

    title: str
    svg: Markup


@dataclass(frozen=True, slots=True)
class ReportColumn:
    """A column by name; of numbers; of cells that are never broken."""

    name: str
    number: bool = False
    whole: bool = False


@dataclass(frozen=True, slots=True)
class ReportCell:
    """A cell's text; `short` where it tells of something missing."""

    text: str
    short: bool = False

    def classes(self, column: ReportColumn, first: bool) -> str:
        """Names that the style sheet knows it by."""
        chosen = {
            "n": column.number,
            "key": first,
            "w": column.whole and not first,
            "bad": self.short,
            "e": not self.text,
        }
        return " ".join(name for name, is_so in chosen.items() if is_so)


@dataclass(frozen=True, slots=True)
class ReportTable:
    """A table that becomes cards on a phone; each row is pairs of column and cell."""

    title: str
    columns: tuple[ReportColumn, ...]
    rows: tuple[tuple[tuple[ReportColumn, ReportCell], ...], ...]


def season_html(document: Mapping[str, Any]) -> bytes:
    """The report of a season document (docs/schemas/season.schema.json)."""
    drawn = season_plots(document)
    return render(
        "reports/season.html",
        start=document["start"],
        style=source("reports/season.css"),
        proof=season_proof(document),
        facts=season_facts(document),
        plots=[Plot(title, Markup(drawn[name])) for name, title in PLOTS.items()],
        tables=season_tables(document),
        small_print=_small_print(document),
    )


def season_facts(document: Mapping[str, Any]) -> list[LeadFigure]:
    """The figures that lead the page."""
    total, logs, orders = document["totals"], document["logs"], document["orders"]
    asked, filled = sum(order["quantity"] for order in orders), sum(order["filled"] for order in orders)
    planned = sum(log["state"] == "planned" for log in logs)
    return [
        LeadFigure(f"{total['profit']:,.2f}", f"profit, {document['currency']}"),
        LeadFigure(f"{total['value']:,.2f}", "for the sets sold"),
        LeadFigure(f"{total['cost']:,.2f}", "logs, overhead, sawing"),
        LeadFigure(f"{filled} of {asked}", "sets filled"),
        LeadFigure(f"{planned} of {len(logs)}", "logs sawn"),
        LeadFigure(f"{total['minutes'] / 60:,.1f} h", "at the mill"),
    ]


def season_tables(document: Mapping[str, Any]) -> list[ReportTable]:
    """Orders, logs that are sawn, and logs that are not."""
    begins = {week["week"]: week["begins"] for week in document["weeks"]}
    sawn = sorted(
        (log for log in document["logs"] if log["state"] == "planned"), key=lambda log: (log["week"], log["id"])
    )
    rest = [[ReportCell(log["id"]), ReportCell(STATES[log["state"]]), ReportCell(log["why"] or "")]
            for log in document["logs"] if log["state"] != "planned"]  # fmt: skip
    found = [
        _table(
            "Orders",
            [ReportColumn("order"), ReportColumn("product"), ReportColumn("filled", number=True), ReportColumn("price", number=True),
             ReportColumn("due", whole=True), ReportColumn("last set ready", whole=True), ReportColumn("from")],
            (_order(number, order) for number, order in enumerate(document["orders"], 1)),
        ),
        _table(
            "Logs, in the order of sawing",
            [ReportColumn("log"), ReportColumn("done in week of", whole=True), *(ReportColumn(name, number=True) for name in
             ("hours", "value", "cost", "profit")), ReportColumn("complete sets"), ReportColumn("sawn for")],
            (_log(log, begins) for log in sawn),
        ),
    ]  # fmt: skip
    if rest:
        found.append(
            _table("Not sawn", [ReportColumn("log"), ReportColumn("state", whole=True), ReportColumn("why")], rest)
        )
    return found


def _table(title: str, columns: Sequence[ReportColumn], rows: Iterable[Sequence[ReportCell]]) -> ReportTable:
    return ReportTable(title, tuple(columns), tuple(tuple(zip(columns, row, strict=True)) for row in rows))


def season_proof(document: Mapping[str, Any]) -> str:
    """What is proven of the choice, as a sentence."""
    money, profit = document["currency"], document["totals"]["profit"]
    spared = document.get("spared", {"minutes": 0, "cost": 0.0})
    added = document["objective"] - (profit - spared["cost"])
    counted = ""
    if abs(added) >= CENT:
        counted = f" (Priorities put {added:,.2f} {money} on top of the profit when plans were compared.)"
    if spared["minutes"]:
        counted += (
            f" The cut scripts leave out work that no order pays for: {spared['minutes']} minutes and {spared['cost']:,.2f} {money} less "
            "than when plans were compared, and the figures here are theirs."
        )
    if document["status"] == "optimal":
        return f"Of the ways to saw that were worked out for each log, no choice earns more; that is proven.{counted}"
    return (
        "Of the ways to saw that were worked out for each log, no choice earns more than "
        f"{document['bound'] - document['objective']:,.2f} {money} ({document['gap']:.2%}) above this one; that is proven.{counted}"
    )


def _small_print(document: Mapping[str, Any]) -> str:
    text = (
        "Counted on are the sets of each log's cut script, as the scan and the card allow; what the wood hides may take some. "
        "Value counts only sets that orders take. A set is ready when the week in which its log is done has ended and it has dried. "
        "Follow the mill maker's manual and your local rules for all work at the saw."
    )
    columns = document.get("columns")
    if columns:
        text += f" {columns['kept']} ways to saw were worked out for {len(document['logs'])} logs, "
        text += f"in answer to {columns['asked']} asks (why no more: {columns['stopped']})."
        if columns.get("beyond") is not None:
            text += (
                f" No other ways to saw, of the class and grid that the cut scripts name, could bring more than {columns['beyond']:,.2f} "
                f"{document['currency']}; that figure counts plates that make no set, so it is far too high rather than too low."
            )
    return text


def _order(number: int, order: Mapping[str, Any]) -> list[ReportCell]:
    return [
        ReportCell(str(number)),
        ReportCell(order["product"] + (" (one log)" if order.get("matched") else "")),
        ReportCell(f"{order['filled']} of {order['quantity']}", short=order["filled"] < order["quantity"]),
        ReportCell(f"{order['price']:,.2f}"),
        ReportCell(order["due"] or "any time"),
        ReportCell(order.get("ready") or ""),
        ReportCell(", ".join(f"{n} from {log}" for log, n in order["from"].items())),
    ]


def _log(log: Mapping[str, Any], begins: Mapping[int, str]) -> list[ReportCell]:
    plan = log.get("plan") or ""
    if log.get("finished"):
        plan += f"; {log['finished']}"
    return [
        ReportCell(log["id"]),
        ReportCell(begins.get(log["week"], "")),
        ReportCell(f"{log['minutes'] / 60:.1f}"),
        ReportCell(f"{log['value']:,.2f}"),
        ReportCell(f"{log['cost']:,.2f}"),
        ReportCell(f"{log['value'] - log['cost']:,.2f}"),
        ReportCell(", ".join(f"{n} {name}" for name, n in log.get("sets", {}).items())),
        ReportCell(plan),
    ]
