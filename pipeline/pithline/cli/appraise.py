"""pithline appraise CARD…: what logs are worth before they are bought, and what is not known about them."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import Any

from pithline.cli.console import Console
from pithline.cli.plan import add_objective_argument, objective_of
from pithline.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("cards", metavar="CARD", nargs="+", help="log cards; a card without a scan needs its [tape]")
    parser.add_argument("--out", metavar="DIR", help="folder for appraisal.json, .csv and .html [default: print only]")
    parser.add_argument("--mill", metavar="M", help="a mill file [default: the bundled portable band mill]")
    parser.add_argument(
        "--products",
        metavar="P",
        action="append",
        default=[],
        help='a products file, a bundled list by name, or "all"; may be given several times [default: the bundled guitar sets]',
    )
    add_objective_argument(parser)
    parser.add_argument("--yard", metavar="Y", help="a yard file, for drying times [default: the bundled yard.toml]")
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
    from dataclasses import replace
    from datetime import date

    from pithline import Monitor, appraisal_terms, appraise_logs, write_appraisal
    from pithline.files.yard import read_yard
    from pithline.keys.readers import date as read_date
    from pithline.outputs.reports.appraisal_document import appraisal_json

    margin = margin_of(args.bid_margin)
    if args.seed < 0:
        raise InputError(f"--seed is {args.seed}; it must be 0 or more.")
    if args.workers is not None and args.workers < 1:
        raise InputError(f"--workers is {args.workers}; it must be at least 1.")
    today = date.today() if args.on is None else date.fromisoformat(read_date(args.on, "--on"))
    terms = appraisal_terms(args.mill, args.products, args.priors, bid_margin=margin, seed=args.seed, on=today)
    terms = replace(terms, objective=objective_of(args.objective, args.products), drying=read_yard(args.yard).drying)
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

    from pithline.outputs.reports.appraisal_document import in_currency, sets_in_words

    table = Table("", "log", "known by", "sets expected", "earns p10 to p90", "hours", "bid up to", "asked")
    for log in document["logs"]:
        asked = "" if log["asked"] is None else f"{log['asked']:.0f}"
        if log["state"] == "failed":
            table.add_row("–", log["id"], "", "", "not appraised", "", "", asked)
            continue
        value = log["value"]
        table.add_row(
            str(log["rank"]),
            log["id"],
            log["basis"],
            sets_in_words(log, 0.5),
            f"{value['p10']:.0f} – {value['p90']:.0f}",
            f"{log['minutes'] / 60:.1f}",
            f"{log['highest_bid']:.0f}",
            asked,
        )
    console.show(table)
    for log in document["logs"]:
        console.show(f"{log['id']}: {log['why']}")
        if log["state"] == "appraised":
            for line in _lines(log):
                console.show(f"  {line}")
            for caution in log["cautions"]:
                console.show(f"  caution: {caution}")
    console.show(
        f"{in_currency(document['currency'])}Bids leave {document['bid_margin']:.0%} of the proceeds. Plans make most of "
        f"{document['objective']}, as `pithline plan --effort coarse` does with the same products; what they earn is net of hours at the "
        f"mill. {document['samples']} logs drawn for each, seed {document['seed']}. docs/appraisal.md explains every figure."
    )


def _lines(log: Mapping[str, Any]) -> list[str]:
    """What is told of one log under the table."""
    from pithline.outputs.reports.appraisal_document import M3, RULES

    scaled, per_foot, other = log["scaled"], log["bid_per_board_foot"], log["other_buyer"]
    feet = ", ".join(
        f"{words} {scaled['board_feet'][rule]} (exactly {log['log_rules'][rule]:.0f}; the bid is "
        + ("nothing" if per_foot[rule] is None else f"{per_foot[rule]:.2f}")
        + " a board foot)"
        for rule, words in RULES.items()
    )
    worth = [one for one in log["worth_finding_out"] if one["worth"] >= 0.5]
    found_out = "; ".join(f"{one['what']} {one['worth']:.0f} ± {one['error']:.0f}" for one in worth)
    return [
        f"scales {scaled['inches']} in by {scaled['feet']} ft: {feet}; {log['cubic_volume'] / M3:.2f} m³ inside bark; "
        f"{log['green_weight_kg']:.0f} kg green.",
        f"another buyer: about {other['gives']:.0f}, {other['price']:.2f} a board foot by {RULES[other['rule']]}; the rest of the log "
        f"{log['rest_value']:.0f}.",
        f"may spoil it: {'; '.join(log['spoilers'])}.",
        f"worth finding out: {found_out or 'nothing would change what you do'}.",
    ]
