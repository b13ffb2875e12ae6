"""pithline preview CUT_SCRIPT --out DIR: the 3D preview and the picture alone."""

from __future__ import annotations

import argparse
from pathlib import Path

from pithline.cli.console import Console
from pithline.cli.script_file import read_script
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
    from pithline.outputs.scene import scene_of

    path = Path(args.script)
    document = read_script(path)
    try:
        with console.progress() as progress:
            progress("3D preview", 0.0)
            scene = scene_of(document)
            files = {"preview.html": preview_html(scene, args.units)}
            progress("picture", 0.4)
            files["preview.png"] = preview_png(scene)
            progress("solids", 0.8)
            files["plan.glb"] = plan_glb(scene)
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise ScriptError(
            f"{path}: a part of the script is missing or misshapen ({type(error).__name__}: {error}); "
            "write it anew with `pithline plan`."
        ) from error
    write_folder(args.out, files)
    console.show(f"{Path(args.out) / 'preview.html'}: open it in a browser; it needs no network.")
    return 0
