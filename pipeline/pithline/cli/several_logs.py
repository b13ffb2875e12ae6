"""What `card` and `fit` share where a scan shows several logs: --pick and --list."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pithline.cli.console import Console, Progress

if TYPE_CHECKING:
    from pithline.files.scans import Scan
    from pithline.logmodel.card import Card


def add_choice(parser: argparse.ArgumentParser) -> None:
    """The two options."""
    parser.add_argument("--pick", metavar="N", type=int, help="which log, where the scan shows several, 1 the largest")
    parser.add_argument("--list", action="store_true", help="list the logs of the scan with a picture, and end")


def list_them(console: Console, progress: Progress, scan: Scan, card: Card, picture: Path) -> int:
    """Draw and list the logs of a scan; writes the `picture`.

    Parameters
    ----------
    console : Console
        Where they are listed.
    progress : callable
        Hears what is done, and how far it is (0 to 1).
    scan : Scan
        Points in the scan's own frame. [mm]
    card : Card
        Its id names the picture's logs; what it says of the log is used in the search.
    picture : Path
        The PNG file; its folder is made where it is not there.

    Returns
    -------
    int
        The command's exit status.
    """
    from pithline.files.write import write_folder
    from pithline.logmodel.logs_in_scan import logs_in_scan
    from pithline.outputs.logs_picture import logs_png

    progress("finding logs", 0.2)
    logs = logs_in_scan(scan.points, card, scan.default_up)
    progress("drawing", 0.8)
    write_folder(picture.parent, {picture.name: logs_png(logs, card.id)})
    for number, log in enumerate(logs):
        console.show(f"{number + 1}  about {log.length:.0f} mm long, {log.diameter:.0f} mm thick")
    console.show(f"{picture} shows which is which; choose with --pick N.")
    return 0
