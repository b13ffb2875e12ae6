"""pithline fit CARD: find and fit the log in a scan; its model, and a page to judge the fit by."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pithline.cli.console import Console
from pithline.cli.several_logs import add_choice, list_them
from pithline.errors import about


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("card", metavar="CARD", help="the log card, a TOML file beside its scan")
    parser.add_argument("--out", metavar="DIR", required=True, help="folder for the fit; its files are replaced whole")
    add_choice(parser)
    parser.add_argument("--json", action="store_true", help="print the summary as JSON, for machines")


def run(args: argparse.Namespace, console: Console) -> int:
    """Fit, write, and say in short what was found."""
    import json

    from pithline.files.cards import read_card, scan_path
    from pithline.files.scans import read_scan
    from pithline.files.write import check_folder, write_folder
    from pithline.logmodel.document import model_to_json
    from pithline.logmodel.fit import fit_log
    from pithline.outputs.fit_page import dimension_rows, fit_page

    check_folder(args.out)
    card = read_card(args.card)
    with console.progress() as progress:
        progress("reading the scan", 0.02)
        scan_file = scan_path(args.card, card)
        scan = read_scan(scan_file)
        if args.list:
            with about(fit=scan_file, other=args.card):
                return list_them(console, progress, scan, card, Path(args.out) / "logs.png")
        with about(fit=scan_file, other=args.card):
            model = fit_log(scan.points, card, scan.default_up, progress, args.pick)
        progress("drawing", 0.95)
        turn = model.scan_to_log
        pdf, png = fit_page(model, scan.points @ turn[:3, :3].T + turn[:3, 3], card, card.id)
        document = model_to_json(model)
        text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), sort_keys=False) + "\n"
        write_folder(args.out, {"log-model.json": text.encode(), "fit.pdf": pdf, "fit.png": png})
    if args.json:
        console.json(summary_of(document))
        return 0
    for caution in model.cautions:
        console.caution(caution)
    show(console, card.id, dimension_rows(model, card), args.out)
    return 0


def summary_of(document: dict[str, Any]) -> dict[str, Any]:
    """The document without its stations."""
    return {key: value for key, value in document.items() if key != "stations"}


def show(console: Console, name: str, rows: list[tuple[str, str, str]], folder: str) -> None:
    """The dimensions as a table."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table("", "fit", "tape", title=f"{name}: the log as fitted", title_justify="left", box=SIMPLE_HEAD)
    for row in rows:
        table.add_row(*row)
    console.show(table)
    console.show(f"{folder}: log-model.json, fit.pdf and fit.png; look at fit.png before you plan.")
