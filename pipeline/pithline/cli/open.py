"""pithline open [FOLDER]: the same, in a browser: a page on this machine over the logs of a folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from pithline.cli.console import Console

EVERYWHERE = "0.0.0.0"
HERE = "127.0.0.1"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", default=".", help="where scans and cards lie [default: this folder]"
    )
    parser.add_argument(
        "--port", metavar="N", type=_port, help="port of the page [default: the first free one from 8765]"
    )
    parser.add_argument("--no-browser", action="store_true", help="start no browser, only say the address")
    parser.add_argument(
        "--share",
        action="store_true",
        help="let phones and machines on the same network in, each by a key that works once; nothing is encrypted on the way",
    )


def _port(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text} must be a port from 1 to 65535")
    return int(text)


def run(args: argparse.Namespace, console: Console) -> int:
    """Say the address and serve until it is stopped."""
    from pithline.shed.server import free_port, make_shed, serve

    host = EVERYWHERE if args.share else HERE
    port = free_port(host, args.port)
    shed = make_shed(Path(args.folder), port, args.share)
    start = f"/enter?key={shed.door.new_key()}" if args.share else "/"
    console.show(f"The yard {shed.yard.root} is open at http://localhost:{port}{start if args.share else '/'}")
    if args.share:
        console.show(
            f"For a phone on the same network: {shed.address}/enter?key={shed.door.new_key()}\n"
            "Each address lets one browser in, once; Settings shows further ones, with a code to point the phone's camera at. "
            "Whoever is in can see and change everything in this folder, and nothing outside it. Nothing is encrypted on the way: "
            "share on a network that you trust."
        )
    console.show("Stop it with Ctrl-C; plans that are being made go on without it.")
    serve(shed, host, port, False if args.no_browser else start)
    return 0
