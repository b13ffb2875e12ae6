"""pithline appraise CARD…: what logs are worth before they are bought, and what is not known about them."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import Any

from pithline.cli.console import Console
from pithline.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("cards", metavar="CARD", nargs="+", help="log cards; a card without a scan needs its [tape]")
    parser.add_argument("--out", metavar="DIR", help="folder for appraisal.json, .csv and .html [default: print only]")
    parser.add_argument("--mill", metavar="M", help="a mill file [default: the bundled portable band mill]")
    parser.add_argument("--products", metavar="P", help="a products file [default: the bundled guitar sets]")
    parser.add_argument("--priors", metavar="Q", help="a priors file [default: the bundled priors.toml]")
    parser.add_argument(
        "--bid-margin", metavar="SHARE", default="25%", help="share of the proceeds that stays with you [default: 25%%]"
    )
    parser.add_argument("--on", metavar="DATE", help="the day months since felling are counted to [default: today]")
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="[default: 1]")
    parser.add_argument("--workers", metavar="N", type=int, help="processes that share the work [default: one a core]")
    parser.add_argument("--json", action="store_true", help="print the appraisal as JSON, for machines")


def margin_of(text: str) -> float:
    """A share from "25%" or "0.25".

    Raises
    ------
    InputError
        If it is no share between 0 and 100 %.
    """
    words = text.strip()
    try:
        value = float(words.removesuffix("%")) / (100.0 if words.endswith("%") else 1.0)
    except ValueError:
        raise InputError(f'--bid-margin is "{text}", which is no share; write it such as 25%.') from None
    if not 0.0 <= value < 1.0:
        raise InputError(
            f"--bid-margin is {text}; a margin on the proceeds lies between 0 and 100 %, write it such as 25%."
        )
    return value


def run(args: argparse.Namespace, console: Console) -> int:
    """Appraise, print the ranked table, write the folder if asked."""
    import os
    from datetime import date

    from pithline import Monitor, appraisal_terms, appraise_logs, write_appraisal
    from pithline.keys.readers import date as read_date
    from pithline.outputs.reports.appraisal_document import appraisal_json

    margin = margin_of(args.bid_margin)
    if args.seed < 0:
        raise InputError(f"--seed is {args.seed}; it must be 0 or more.")
    if args.workers is not None and args.workers < 1:
        raise InputError(f"--workers is {args.workers}; it must be at least 1.")
    today = date.today() if args.on is None else date.fromisoformat(read_date(args.on, "--on"))
    terms = appraisal_terms(args.mill, args.products, args.priors, bid_margin=margin, seed=args.seed, on=today)
    with console.progress() as progress:
        appraisal = appraise_logs(args.cards, terms, args.workers or os.cpu_count() or 1, Monitor(progress))
    document = appraisal.document
    if all(log["state"] == "failed" for log in document["logs"]):
        raise InputError(" ".join(f"{log['id']}: {log['why']}" for log in document["logs"]))
    if args.out is not None:
        write_appraisal(appraisal, args.out)
    if args.json:
        console.show(appraisal_json(document).decode().rstrip("\n"))
        return 0
    show(console, document)
    if args.out is not None:
        console.show(f"Written to {args.out}: appraisal.json, appraisal.csv, appraisal.html.")
    return 0


def show(console: Console, document: Mapping[str, Any]) -> None:
    """The ranked table, then per log why it stands there, what may spoil it and what is worth finding out."""
    from rich.table import Table

    from pithline.outputs.reports.appraisal_document import M3, in_currency
    from pithline.units import MM3_PER_LITRE

    table = Table("", "log", "known by", "plates, L", "value p10 to p90", "bid up to", "asked")
    for log in document["logs"]:
        asked = "" if log["asked"] is None else f"{log['asked']:.0f}"
        if log["state"] == "failed":
            table.add_row("–", log["id"], "", "", "not appraised", "", asked)
            continue
        value = log["value"]
        table.add_row(
            str(log["rank"]),
            log["id"],
            log["basis"],
            f"{log['volume']['p10'] / MM3_PER_LITRE:.0f}–{log['volume']['p90'] / MM3_PER_LITRE:.0f}",
            f"{value['p10']:.0f} – {value['p90']:.0f}",
            f"{log['highest_bid']:.0f}",
            asked,
        )
    console.show(table)
    for log in document["logs"]:
        console.show(f"{log['id']}: {log['why']}")
        if log["state"] == "failed":
            continue
        rules = log["log_rules"]
        console.show(
            f"  Doyle {rules['doyle']:.0f}, International ¼ in {rules['international_quarter']:.0f}, Scribner "
            f"{rules['scribner']:.0f} board feet on {log['diameter_small_end']:.0f} mm inside bark at the small end; "
            f"{log['cubic_volume'] / M3:.2f} m³ inside bark; {log['green_weight_kg']:.0f} kg green."
        )
        console.show(f"  may spoil it: {'; '.join(log['spoilers'])}.")
        worth = [one for one in log["worth_finding_out"] if one["worth"] >= 0.5]
        worth_lines = "; ".join(f"{one['what']} {one['worth']:.0f} ± {one['error']:.0f}" for one in worth)
        console.show(f"  worth finding out: {worth_lines or 'nothing would change what you do'}.")
        for caution in log["cautions"]:
            console.show(f"  caution: {caution}")
    console.show(
        f"{in_currency(document['currency'])}Bids leave {document['bid_margin']:.0%} of the proceeds and count plates of complete "
        f"sets only. {document['samples']} logs drawn for each, seed {document['seed']}. docs/appraisal.md explains every figure."
    )
