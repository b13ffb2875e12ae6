"""pithline card SCAN: start a log card beside a scan, and draw both ends to read the pith marks from."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from pithline.cli.console import Console
from pithline.cli.several_logs import add_choice, list_them
from pithline.errors import InputError, about


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    from pithline.logmodel.card import AXES

    parser.add_argument("scan", metavar="SCAN", help="the scan of one log; the card is written beside it")
    parser.add_argument(
        "--units",
        choices=("m", "cm", "mm", "in", "ft"),
        default="m",
        help="unit of the scan's coordinates [default: m]",
    )
    parser.add_argument(
        "--up", metavar="AXIS", choices=AXES, help='the scan axis that points up, such as "+y" [default: found]'
    )
    add_choice(parser)


def run(args: argparse.Namespace, console: Console) -> int:
    """Fit with nothing known, and write what was found as a card to fill in."""
    from pithline.files.scans import read_scan
    from pithline.files.write import write_folder
    from pithline.logmodel.card import Card
    from pithline.logmodel.fit import fit_log
    from pithline.outputs.card_text import CardFacts, card_text
    from pithline.outputs.ends_picture import end_view, ends_png

    path = Path(args.scan)
    card_file, picture = path.with_suffix(".toml"), f"{path.stem}.ends.png"
    if card_file.exists() and not args.list:
        raise InputError(f"{card_file} is already there and may hold your marks; move it away to begin a new one.")
    with console.progress() as progress:
        progress("reading the scan", 0.02)
        scan = read_scan(path)
        blank = Card(path.stem, "black walnut", path.name, scan_units=args.units, up=args.up)
        if args.list:
            with about(fit=path, other=path), _before_card():
                return list_them(console, progress, scan, blank, path.parent / f"{path.stem}.logs.png")
        with about(fit=path, other=path), _before_card():
            model = fit_log(scan.points, blank, scan.default_up, progress, args.pick)
        turn = model.scan_to_log
        points = scan.points @ turn[:3, :3].T + turn[:3, 3]
        progress("drawing", 0.95)
        views = [end_view(model, points, scan.colours, name) for name in ("butt", "top")]
        marks = {view.name: (float(view.pith[0]), float(view.pith[1])) for view in views}
        up = args.up or _axis_name(turn[2, :3])
        text = card_text(CardFacts(path.stem, path.name, args.units, up, picture, marks, args.up is not None), model)
        image = ends_png(model, points, scan.colours, path.stem)
        write_folder(path.parent, {card_file.name: text.encode("utf-8"), picture: image})
    for caution in model.cautions:
        console.caution(caution)
    console.show(
        f"{card_file} begun: a log {model.length:.0f} ± {model.length_doubt:.0f} mm long. Read the pith off "
        f"{path.parent / picture}, fill the card in, then: pithline plan {card_file} --out plan"
    )
    return 0


@contextmanager
def _before_card() -> Iterator[None]:
    """Sentences on the scan's unit speak of the command's option: there is no card yet."""
    from pithline.logmodel.plausibility import ScaleError

    try:
        yield
    except ScaleError as error:
        raise error.before_card() from error


def _axis_name(row: np.ndarray) -> str:
    """The scan axis nearest to a direction, as the card writes it."""
    lead = int(np.argmax(np.abs(row)))
    return ("+" if row[lead] > 0 else "-") + "xyz"[lead]
