"""pithline check CUT_SCRIPT: replays the script on the log, independently of the planner."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from pithline.cli.console import Console
from pithline.errors import ScriptError, about


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("script", metavar="CUT_SCRIPT", help="a cut-script.json, as `pithline plan` writes it")
    parser.add_argument("--json", action="store_true", help="print what was found as JSON, for machines")


def run(args: argparse.Namespace, console: Console) -> int:
    """Replay, and say what holds; the first thing that does not is the error."""
    from pithline import check_script, read_script

    path = Path(args.script)
    document = read_script(path)
    with about(other=path):
        report = check_script(document)
    findings = report.findings
    if args.json:
        console.json({"script": str(path), "holds": report.holds, "findings": [asdict(one) for one in findings]})
    if findings:
        more = len(findings) - 1
        rest = f" ({more} more; --json lists them)" if more else ""
        raise ScriptError(f"{path} does not hold: {findings[0].sentence}{rest}; write it anew with `pithline plan`.")
    if not args.json:
        cuts = sum(one["op"] == "cut" for one in document["operations"])
        plates = sum(bool(one["passes"]) for one in document["plates"])
        wood = document["totals"]["instrument_volume"] / 1e6
        console.show(
            f"{path} holds: {cuts} cuts replayed, {plates} passing plates ({wood:.1f} L) whole, sound and graded as "
            "stated, every setting within the mill's limits; pieces and kerf make up the log."
        )
    return 0
