"""pithline season MANIFEST --orders ORDERS: a yard of logs against an order book."""

from __future__ import annotations

import argparse
import datetime
from pathlib import Path
from typing import Any

from pithline.cli.console import Console


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("manifest", metavar="MANIFEST", help="CSV of logs: card, cost, priority, not_before")
    parser.add_argument(
        "--orders",
        metavar="ORDERS",
        required=True,
        help="CSV of orders: product, quantity, price, due, priority, matched",
    )
    parser.add_argument(
        "--out", metavar="DIR", required=True, help="folder for the season; finished work is kept there"
    )
    parser.add_argument("--mill", metavar="M", help="a mill file [default: the bundled portable band mill]")
    parser.add_argument(
        "--products",
        metavar="P",
        action="append",
        default=[],
        help='a products file, a bundled list by name, or "all"; may be given several times [default: the bundled guitar sets]',
    )
    parser.add_argument("--yard", metavar="Y", help="hours, drying, money [default: the bundled yard.toml]")
    parser.add_argument(
        "--priors", metavar="Q", help="end checks and metal of logs that wait [default: the bundled priors.toml]"
    )
    parser.add_argument(
        "--start", metavar="DATE", type=_day, help="first day of the season's first week [default: today]"
    )
    parser.add_argument("--scheduler", metavar="ADDRESS", help="a running dask scheduler, such as tcp://10.0.0.5:8786")
    parser.add_argument("--workers", metavar="N", type=_count, help="processes on this machine [default: its cores]")
    parser.add_argument(
        "--plans", metavar="N", type=_count, default=4, help="what each log is asked for at first [default: 4]"
    )
    parser.add_argument(
        "--rounds", metavar="N", type=int, default=1, help="rounds of more plans, where orders are short [default: 1]"
    )
    parser.add_argument(
        "--finish", action="store_true", help="plan the chosen logs fully and write their whole folders"
    )
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="lengths on the sheets [default: mm]")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="[default: A4]")
    parser.add_argument("--json", action="store_true", help="print season.json, for machines")


def _day(text: str) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is no day; write year-month-day, such as 2026-11-05') from None


def _count(text: str) -> int:
    value = int(text)
    if value < 1:
        raise argparse.ArgumentTypeError("must be at least 1")
    return value


def run(args: argparse.Namespace, console: Console) -> int:
    """Work the season out, write it, say in short what it is."""
    from pithline.plan.api import Monitor
    from pithline.yard.season.cluster import Cluster
    from pithline.yard.season.question import SeasonQuestion
    from pithline.yard.season.whole import work_out, write_season

    question = SeasonQuestion(
        args.manifest,
        args.orders,
        args.out,
        args.start or datetime.date.today(),
        _absolute(args.mill),
        tuple(_absolute(one) or one for one in args.products),
        args.yard,
        args.priors,
        args.plans,
        max(args.rounds, 0),
    )
    with Cluster(args.scheduler, args.workers) as cluster, console.progress() as progress:
        season = work_out(question, cluster, args.finish, Monitor(progress))
        progress("writing", 0.98)
        write_season(season, args.out, args.units, args.paper)
    if args.json:
        console.json(season.document)
        return 0
    show(console, season.document, args.out)
    return 0


def _absolute(path: str | None) -> str | None:
    """Workers may stand in another folder; the name of a bundled file stays a name."""
    return str(Path(path).resolve()) if path is not None and Path(path).exists() else path


def show(console: Console, document: dict[str, Any], out: str) -> None:
    """The summary the yard reads."""
    from rich.table import Table

    total, money = document["totals"], document["currency"]
    sawn = [log for log in document["logs"] if log["state"] == "planned"]
    console.show(
        f"Season from {document['start']}: {len(sawn)} of {len(document['logs'])} logs sawn in {total['minutes'] / 60:.1f} h, "
        f"sold for {total['value']:,.2f}, cost {total['cost']:,.2f}, profit {total['profit']:,.2f} {money}."
    )
    table = Table("order", "product", "filled", "due", "from")
    for number, order in enumerate(document["orders"], 1):
        source = ", ".join(f"{n} {log}" for log, n in order["from"].items())
        table.add_row(
            str(number),
            order["product"],
            f"{order['filled']} of {order['quantity']}",
            order["due"] or "any time",
            source,
        )
    console.show(table)
    for log in document["logs"]:
        if log["state"] == "failed":
            console.caution(f"{log['id']} failed: {log['why']}")
    console.show(
        f"Counted {document['objective']:,.2f}, proven bound {document['bound']:,.2f} {money} "
        f"({document['gap']:.2%}, {document['status']}) over the cut plans made; {document['columns']['stopped']}."
    )
    beyond = document["columns"]["beyond"]
    if beyond is not None:
        console.show(
            f"No other plans of the stated class and grid could bring more than {beyond:,.2f} (a loose bound)."
        )
    console.show(f"Written to {out}: season.html, season.csv, season.json, logs/.")
