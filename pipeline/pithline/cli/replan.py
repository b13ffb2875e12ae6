"""pithline replan CUT_SCRIPT: once the log is open, plan what is left of it anew, and write the plan."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from pithline.cli.console import Console
from pithline.cli.plan import add_search_arguments
from pithline.cli.plan_summary import show_likely, show_limits, show_results
from pithline.files.scripts import read_script


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("script", metavar="CUT_SCRIPT", help="the cut-script.json that the log was sawn by")
    parser.add_argument(
        "--after", metavar="CUT", required=True, help="the last cut that was sawn: its number on the sheet, or its id"
    )
    parser.add_argument(
        "--found", metavar="FOUND.toml", required=True, help="what was found, or done otherwise; see docs/formats.md"
    )
    parser.add_argument("--out", metavar="DIR", required=True, help="folder for the plan; its files are replaced whole")
    add_search_arguments(parser)


def run(args: argparse.Namespace, console: Console) -> int:
    """Plan, check, write; then say in short what changed."""
    import json
    import time

    from pithline.cli.stopping import ending
    from pithline.files.found import found_as_read
    from pithline.files.write import check_folder, write_folder
    from pithline.outputs.plan_folder import plan_files
    from pithline.plan.api import EFFORTS, Monitor, Objective
    from pithline.yard.replan_log import replan_log
    from pithline.yard.request import Request

    started = time.monotonic()
    check_folder(args.out)
    path = Path(args.script)
    script = read_script(path)
    found = found_as_read(args.found)
    request = Request(
        Objective(args.objective or str(script.get("proof", {}).get("asks_for", "volume"))),
        EFFORTS[args.effort],
        args.seed,
    )
    with console.progress() as progress, ending(console, args.time_limit) as stopped:
        new = replan_log(script, args.after, found, request, Monitor(progress, stopped), (str(path), args.found))
        progress("writing", 0.98)
        files = plan_files(new, args.units, args.paper)
        write_folder(args.out, files)
    if args.json:
        console.json(summary_of(json.loads(files["cut-script.json"]), script))
        return 0
    for caution in new["cautions"]:
        console.caution(caution)
    show(console, new, script, args.out, time.monotonic() - started)
    return 0


def summary_of(new: dict[str, Any], old: dict[str, Any]) -> dict[str, Any]:
    """What a machine wants to know of a plan made anew without reading the script."""
    kept = set(new["replan"]["kept"])
    ahead = [one for one in new["operations"] if one["op"] == "setting" and one["id"] not in kept]
    return {
        "log": new["log"]["id"],
        "replan": new["replan"],
        "next_setting": ahead[0]["id"] if ahead else None,
        "settings_to_come": len(ahead),
        "totals": new["totals"],
        "totals_before": old["totals"],
        "proof": new["proof"],
        "uncertainty": new["uncertainty"],
        "cautions": new["cautions"],
    }


def show(console: Console, new: dict[str, Any], old: dict[str, Any], out: str, seconds: float) -> None:
    """The summary a sawyer reads.

    Parameters
    ----------
    console : Console
        Where it is shown.
    new, old : dict
        The script planned anew and the earlier one, as JSON has them.
    out : str
        The folder that was written.
    seconds : float
        How long it took. [s]
    """
    from pithline.outputs.cut_script.reader import read_cut_script
    from pithline.outputs.cut_script.tree import PieceTree
    from pithline.outputs.formatting import count
    from pithline.outputs.results import results_of

    replanned = new["replan"]
    for one in replanned["changed"]:
        console.show(f"{one[:1].upper()}{one[1:]}.")
    kept = set(replanned["kept"])
    ahead = [one for one in new["operations"] if one["op"] == "setting" and one["id"] not in kept]
    marks = {one["id"]: one["mark"] for one in new["pieces"]}
    earlier, told = read_cut_script(old), read_cut_script(new)
    if ahead:
        first = ahead[0]
        turned = f", clock angle {first['roll']:.1f}° up" if "roll" in first else ""
        console.show(
            f"Next: {first['tool']} {marks[first['piece']]} ({first['piece']}){turned}; still to come: "
            f"{count(PieceTree(told).set_ups_ahead, 'set-up')}, {sum(one['minutes'] for one in ahead) / 60.0:.1f} h."
        )
    else:
        console.show("Nothing more is to be sawn.")
    show_results(console, told, {"earlier plan, when made": results_of(earlier), "new plan": results_of(told)})
    show_likely(console, new)
    show_limits(console, new)
    console.show(
        f"Replayed and written to {out} in {seconds:.0f} s: cut script, set-up sheet, shop cards, overview, end templates, "
        "labels, preview."
    )
