"""pithline check CUT_SCRIPT: replays the script on the log, independently of the planner."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pithline.cli.console import Console
from pithline.errors import ScriptError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("script", metavar="CUT_SCRIPT", help="a cut-script.json, as `pithline plan` writes it")
    parser.add_argument("--json", action="store_true", help="print what was found as JSON, for machines")


def run(args: argparse.Namespace, console: Console) -> int:
    """Replay, and say what holds; the first thing that does not is the error."""
    from pithline.script.replay import replay_pieces

    path = Path(args.script)
    document = _document(path)
    try:
        findings = replay_pieces(document)
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise ScriptError(
            f"{path}: a part of the script is missing or misshapen ({type(error).__name__}: {error}); "
            "write it anew with `pithline plan`."
        ) from error
    except ScriptError as error:
        raise ScriptError(f"{path}: {error}") from error
    if args.json:
        console.json({"script": str(path), "findings": [asdict(one) for one in findings]})
    if findings:
        more = len(findings) - 1
        rest = f" ({more} more; --json lists them)" if more else ""
        raise ScriptError(f"{path} does not hold: {findings[0].sentence}{rest}; write it anew with `pithline plan`.")
    if not args.json:
        cuts = sum(one["op"] == "cut" for one in document["operations"])
        console.show(
            f"{path}: pieces and volumes hold over {cuts} cuts. "
            "Poses, limits of the mill, plates and grades were not looked at."
        )
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
