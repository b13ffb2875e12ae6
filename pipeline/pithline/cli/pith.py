"""pithline pith PHOTO --across LENGTH: the pith from a photograph of the end grain, as tape measures for the card."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pithline.cli.console import Console
from pithline.errors import InputError, about

if TYPE_CHECKING:
    from pithline.pith.find import PithFound


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument(
        "photo", metavar="PHOTO", help="the whole end face, faced squarely, the 12 o'clock line upright"
    )
    parser.add_argument(
        "--across", metavar="LENGTH", required=True, help='breadth over bark, level through the widest part: "22 in"'
    )
    parser.add_argument(
        "--box", metavar="L,T,R,B", help="left, top, right and bottom of the face over bark in the photo's pixels"
    )
    parser.add_argument("--out", metavar="DIR", help="folder for the picture [default: beside the photo]")
    parser.add_argument("--json", action="store_true", help="print what was found as JSON, for machines")


def run(args: argparse.Namespace, console: Console) -> int:
    """Find, draw, and say what to put on the card."""
    from pithline.files.photos import read_photo
    from pithline.files.write import write_folder
    from pithline.outputs.pith_picture import pith_png
    from pithline.pith.find import WORKING, find_pith

    across = _across(args.across)
    path = Path(args.photo)
    with console.progress() as progress:
        progress("reading the photograph", 0.05)
        picture, smaller = read_photo(path, WORKING)
        progress("following the rings", 0.2)
        box = None if args.box is None else _box(args.box, smaller)
        with about(fit=path):
            found = find_pith(picture, across, box)
        progress("drawing", 0.8)
        folder = Path(args.out) if args.out else path.parent
        name = f"{path.stem}.pith.png"
        write_folder(folder, {name: pith_png(picture, found, path.stem)})
    if args.json:
        console.json(_document(found, smaller))
        return 0
    mark = f'{{ from_left = "{found.from_left:.0f} mm", from_top = "{found.from_top:.0f} mm" }}'
    rings = (
        f"Rings about {found.spacing:.1f} mm apart." if found.spacing == found.spacing else "Rings too faint to count."
    )
    console.show(
        f"The pith lies {found.from_left:.0f} mm from the left and {found.from_top:.0f} mm from the top over bark, "
        f"± {found.error:.0f} mm; confidence {found.confidence:.2f}. {rings}\n"
        f"Look at {folder / name}; if the red rings follow the wood, put on the card, in [pith]:\n"
        f"    butt = {mark}      (or top = …, whichever end this is)\n"
        f'    error = "{max(found.error, 1.0):.0f} mm"'
    )
    return 0


def _across(text: str) -> float:
    from pithline.units import parse_length

    value = parse_length(text, "--across")
    if not 60.0 <= value <= 2500.0:
        raise InputError(f"--across is {value:.0f} mm, which is no log; write its breadth over bark with its unit.")
    return value


def _box(text: str, smaller: float) -> tuple[float, float, float, float]:
    try:
        left, top, right, bottom = (float(part) / smaller for part in text.split(","))
    except ValueError:
        raise InputError(f'--box is "{text}"; write four numbers in pixels, such as --box 310,220,2800,2710.') from None
    if right - left < 100.0 or bottom - top < 100.0 or min(left, top) < 0.0:
        raise InputError(f'--box is "{text}"; it goes left, top, right, bottom, and must hold the whole face.')
    return left, top, right, bottom


def _document(found: PithFound, smaller: float) -> dict[str, Any]:
    column, row = found.place * smaller
    nothing = found.spacing != found.spacing
    return {
        "pixel": [round(float(column), 1), round(float(row), 1)],
        "from_left": round(found.from_left, 1),
        "from_top": round(found.from_top, 1),
        "across": round(found.across, 1),
        "down": round(found.down, 1),
        "error": round(found.error, 1),
        "confidence": round(found.confidence, 3),
        "ring_spacing": None if nothing else round(found.spacing, 2),
        "ring_spacing_spread": None if nothing else round(found.spacing_spread, 2),
    }
