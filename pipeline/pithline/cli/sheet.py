"""pithline sheet CUT_SCRIPT --out DIR: sheet, cards, overview, templates and labels again, without planning."""

from __future__ import annotations

import argparse
from pathlib import Path

from pithline.cli.console import Console


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("script", metavar="CUT_SCRIPT", help="a cut-script.json, as `pithline plan` writes it")
    parser.add_argument(
        "--out", required=True, metavar="DIR", help="folder for what is printed; its files are replaced whole"
    )
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="what lengths are in [default: mm]")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="[default: A4]")


def run(args: argparse.Namespace, console: Console) -> int:
    """Draw and write all files, or none."""
    from pithline.errors import about
    from pithline.files.scripts import read_script
    from pithline.files.write import check_folder, write_folder
    from pithline.outputs.plan_folder import sheet_files
    from pithline.outputs.print_job import print_job

    check_folder(args.out)
    path = Path(args.script)
    document = read_script(path)
    with about(other=path), console.progress() as progress:
        files = sheet_files(print_job(document, args.units, args.paper), progress)
    write_folder(args.out, files)
    console.show(f"Written to {args.out}: {', '.join(files)}.")
    return 0
