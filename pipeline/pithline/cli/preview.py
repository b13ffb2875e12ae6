"""pithline preview CUT_SCRIPT --out DIR: the 3D preview and the picture alone."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pithline.cli.console import Console
from pithline.errors import ScriptError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("script", metavar="CUT_SCRIPT", help="a cut-script.json, as `pithline plan` writes it")
    parser.add_argument("--out", required=True, metavar="DIR", help="folder for preview.html, preview.png and plan.glb")
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="what figures are shown in (default: mm)")


def run(args: argparse.Namespace, console: Console) -> int:
    """Draw and write all three files, or none."""
    from pithline.files.write import write_folder
    from pithline.outputs.preview_glb import plan_glb
    from pithline.outputs.preview_html import preview_html
    from pithline.outputs.preview_png import preview_png

    path = Path(args.script)
    document = _document(path)
    try:
        with console.progress() as progress:
            progress("3D preview", 0.0)
            files = {"preview.html": preview_html(document, args.units)}
            progress("picture", 0.4)
            files["preview.png"] = preview_png(document)
            progress("solids", 0.8)
            files["plan.glb"] = plan_glb(document)
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise ScriptError(
            f"{path}: a part of the script is missing or misshapen ({type(error).__name__}: {error}); "
            "write it anew with `pithline plan`."
        ) from error
    write_folder(args.out, files)
    console.show(f"{Path(args.out) / 'preview.html'}: open it in a browser; it needs no network.")
    return 0


def _document(path: Path) -> dict[str, Any]:
    from pithline.files.tables import read_bytes
    from pithline.script.document import loads

    try:
        document = loads(read_bytes(path))
    except ScriptError as error:
        raise ScriptError(f"{path}: {error}") from error
    if document.get("format") != "pithline-cut-script" or document.get("version") != 1:
        raise ScriptError(f"{path} is no cut script of version 1; name a cut-script.json that `pithline plan` wrote.")
    return document
