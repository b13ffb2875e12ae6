"""pithline preview CUT_SCRIPT --out DIR: the 3D preview and the picture alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from pithline.cli.console import Console


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("script", metavar="CUT_SCRIPT", help="a cut-script.json, as `pithline plan` writes it")
    parser.add_argument("--out", required=True, metavar="DIR", help="folder for preview.html, preview.png and plan.glb")
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="what figures are shown in (default: mm)")


def run(args: argparse.Namespace, console: Console) -> int:
    """Draw and write all three files, or none."""
    from pithline import read_script
    from pithline.errors import about
    from pithline.files.write import write_folder
    from pithline.outputs.preview.files import preview_files
    from pithline.outputs.print_job import print_job

    path = Path(args.script)
    document = read_script(path)
    with about(other=path), console.progress() as progress:
        files = preview_files(print_job(document, args.units), progress)
    write_folder(args.out, files)
    console.show(f"{Path(args.out) / 'preview.html'}: open it in a browser; it needs no network.")
    return 0
