"""pithline plan CARD: choose roll, lifts and cuts for one log, check them by replay, and write the plan."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import Any

from pithline.cli.console import Console


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("card", metavar="CARD", help="the log card, a TOML file beside its scan")
    parser.add_argument("--out", metavar="DIR", required=True, help="folder for the plan; its files are replaced whole")
    parser.add_argument("--mill", metavar="M", help="a mill file [default: the bundled portable band mill]")
    parser.add_argument("--products", metavar="P", help="a products file [default: the bundled guitar sets]")
    add_search_arguments(parser)
    parser.add_argument("--no-bucking", action="store_true", help="never crosscut the log first")
    parser.add_argument(
        "--roll", metavar="DEG", type=_clock, help="hold the clock angle that is up at the first setting"
    )
    parser.add_argument(
        "--first-slab",
        metavar="THICKNESS",
        type=_thickness,
        help='hold the first setting to one slab, such as "100 mm"',
    )
    parser.add_argument("--max-settings", metavar="N", type=_count, help="at most so many charged settings")
    parser.add_argument(
        "--bolts", choices=("saw", "leave"), default="saw", help="leave every bolt whole [default: saw]"
    )
    parser.add_argument(
        "--keep", metavar="CUT_SCRIPT", help="an earlier plan of this log: the new one is chosen beside it"
    )
    parser.add_argument(
        "--pick", metavar="N", type=int, help="which log, where the scan shows several; see `fit --list`"
    )


def add_search_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of every command that searches and writes a plan."""
    parser.add_argument("--objective", choices=("volume", "value", "sets"), default="volume", help="[default: volume]")
    parser.add_argument(
        "--effort", choices=("coarse", "full"), default="full", help="how finely to search [default: full]"
    )
    parser.add_argument(
        "--time-limit", metavar="S", type=_seconds, help="stop the search of further layouts after S seconds"
    )
    parser.add_argument("--seed", metavar="N", type=_seed, default=1, help="[default: 1]")
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="lengths on the sheet [default: mm]")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="[default: A4]")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON, for machines")


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not value > 0:
        raise argparse.ArgumentTypeError(f"{text} must be a number of seconds more than 0, such as 60")
    return value


def _clock(text: str) -> float:
    """A clock angle in radians."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not -360.0 <= value <= 360.0:
        raise argparse.ArgumentTypeError(f"{text} must be a clock angle in degrees from 0 to 360, such as 30")
    return math.radians(value % 360.0)


def _thickness(text: str) -> float:
    """A slab's thickness in mm."""
    from pithline.errors import PithlineError
    from pithline.units import parse_length

    try:
        value = parse_length(text, "--first-slab")
    except PithlineError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    if not 15.0 <= value <= 500.0:
        raise argparse.ArgumentTypeError(f"{text} must be a slab's thickness from 15 mm to 500 mm")
    return value


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 1000:
        raise argparse.ArgumentTypeError(f"{text} must be a whole number of settings, 1 or more")
    return int(text)


def _seed(text: str) -> int:
    """A seed every generator and solver takes."""
    if not text.isdecimal() or int(text) > 2**31 - 1:
        raise argparse.ArgumentTypeError(f"{text} must be a whole number from 0 to 2147483647")
    return int(text)


def run(args: argparse.Namespace, console: Console) -> int:
    """Plan, check, write; then say in short what was chosen."""
    import json
    import time

    from pithline.cli.script_file import read_script
    from pithline.cli.stopping import ending
    from pithline.errors import InputError, about
    from pithline.files.write import check_folder, write_folder
    from pithline.outputs.plan_folder import plan_files
    from pithline.plan.api import EFFORTS, Locks, Monitor, Objective
    from pithline.script.schema import validate
    from pithline.yard.one_log import plan_card
    from pithline.yard.request import Request

    started = time.monotonic()
    check_folder(args.out)
    locks = Locks(args.roll, args.first_slab, args.max_settings, args.bolts == "saw")
    keep = None
    if args.keep is not None:
        if args.no_bucking or (locks.roll, locks.first_slab, locks.bolts) != (None, None, True):
            raise InputError(
                "--keep brings an earlier plan's own roll, slabs, bolts and crosscuts, so it cannot stand with --roll, --first-slab, "
                "--bolts leave or --no-bucking; leave one out."
            )
        keep = read_script(Path(args.keep))
        with about(other=args.keep):
            validate(keep)
    request = Request(
        Objective(args.objective),
        EFFORTS[args.effort],
        args.seed,
        pick=args.pick,
        bucking=not args.no_bucking,
        locks=locks,
        keep=keep,
    )
    if _first_run() and Path(args.card).is_file():
        console.note("preparing, once: the numerical kernels are compiled at the first run.")
    with console.progress() as progress, ending(console, args.time_limit) as stopped:
        script = plan_card(args.card, args.mill, args.products, request, Monitor(progress, stopped))
        progress("writing", 0.98)
        files = plan_files(script, args.units, args.paper)
        write_folder(args.out, files)
    if args.json:
        console.json(summary_of(json.loads(files["cut-script.json"])))  # figures as rounded on writing
        return 0
    for caution in script["cautions"]:
        console.caution(caution)
    show(console, script, args.out, time.monotonic() - started)
    return 0


def _first_run() -> bool:
    """Whether no compiled kernel of the package is cached yet."""
    import pithline

    return not any(Path(pithline.__file__).parent.glob("plan/**/__pycache__/*.nbi"))


def summary_of(script: dict[str, Any]) -> dict[str, Any]:
    """What a machine wants to know of a plan without reading the script."""
    first, *_ = first_settings(script)
    cuts = cuts_of(script, first)
    return {
        "log": script["log"]["id"],
        "totals": script["totals"],
        "practice": script["practice"],
        "proof": script["proof"],
        "uncertainty": script["uncertainty"],
        "first_setting": {
            "roll": first.get("roll"),
            "lifts": first.get("lifts"),
            "marks": first.get("marks"),
            "cuts": [{k: c.get(k) for k in ("id", "blade_height", "from_mark", "width")} for c in cuts],
        },
        "crosscuts": [cut["id"] for cut in script["operations"] if cut["op"] == "cut" and cut["tool"] == "buck"],
        "cautions": script["cautions"],
    }


def first_settings(script: dict[str, Any]) -> list[dict[str, Any]]:
    """The first setting on the mill of every log, whole or bucked, in the order they are sawn."""
    logs = {one["id"] for one in script["pieces"] if one["kind"] == "log"}
    out: dict[str, dict[str, Any]] = {}
    for one in script["operations"]:
        if one["op"] == "setting" and one["tool"] == "mill" and one["piece"] in logs:
            out.setdefault(one["piece"], one)
    return list(out.values())


def cuts_of(script: dict[str, Any], setting: dict[str, Any]) -> list[dict[str, Any]]:
    """The cuts of one setting, from the top down."""
    return [o for o in script["operations"] if o["op"] == "cut" and o["setting"] == setting["id"]]


def show(console: Console, script: dict[str, Any], out: str, seconds: float) -> None:
    """The summary a sawyer reads."""
    from rich.table import Table

    log, total, beside = script["log"], script["totals"], script["practice"]
    console.show(
        f"{log['id']}: {log['species']}, {log['length'] / 1000:.2f} m, {log['diameter_butt']:.0f} mm across at the butt, "
        f"{log['diameter_top']:.0f} mm at the top over bark, {log['volume'] / 1e6:.0f} L under bark, sweep {log['sweep']:.0f} mm."
    )
    for buck in (o for o in script["operations"] if o["op"] == "setting" and o["tool"] == "buck"):
        places = ", ".join(f"{_from_butt(script, cut):.0f} mm" for cut in cuts_of(script, buck))
        console.show(f"Crosscut the log first, square to its pith, {places} from the butt end along the pith's chord.")
    firsts = first_settings(script)
    for first in firsts:
        lifts = ", ".join(f"{one['lift']:.0f} mm at the bunk at {one['bunk']:.0f}" for one in first["lifts"])
        mark = first["marks"]["butt"]["name"]
        whose = "" if len(firsts) == 1 and first["piece"] == "log" else f" of {first['piece']}"
        console.show(
            f"First setting{whose}: turn clock angle {first['roll']:.1f}° up; lifts {lifts}; level both marks ({mark})."
        )
        table = Table("cut", "over the marks, mm", "blade height, mm", "width, mm")
        for cut in cuts_of(script, first):
            table.add_row(cut["id"], f"{cut['from_mark']:+.0f}", f"{cut['blade_height']:.0f}", f"{cut['width']:.0f}")
        console.show(table)
    yields = Table("", "plan", "practice layout", "its slabs alone")
    rows = (
        ("instrument wood, L", lambda t: f"{t['instrument_volume'] / 1e6:.1f}"),
        ("plates", lambda t: str(t["plates"])),
        ("complete sets", lambda t: ", ".join(f"{n} {name}" for name, n in t["sets"].items() if n) or "none"),
        ("charged settings", lambda t: str(t["settings"])),
        ("minutes", lambda t: f"{t['minutes']:.0f}"),
    )
    for name, of in rows:
        yields.add_row(name, of(total), of(beside["with_bolts"]), of(beside["slabs"]))
    console.show(yields)
    p = script["uncertainty"]["instrument_volume"]
    ratio = beside["ratio"]
    against = f"{ratio:.2f} times the practice layout" if ratio is not None else "the practice layout gives nothing"
    gap = script["proof"]["gap"]
    console.show(
        f"{against}; between {p['p10'] / 1e6:.1f} and {p['p90'] / 1e6:.1f} L four times in five, from what the scan and card leave open. "
        + (f"At most {gap:.1%} short of the best layout of the kinds searched." if gap is not None else "")
    )
    most = script["proof"].get("any_layout")
    if most is not None and script["proof"].get("counts") == "volume":
        console.show(f"However it is cut, the log holds no more than {most / 1e6:.0f} L of such plates; every real plan stays well below.")
    _trade_off(console, script)
    show_limits(console, script)
    console.show(
        f"Replayed and written to {out} in {seconds:.0f} s: cut script, set-up sheet, end templates, labels, preview."
    )


def show_limits(console: Console, script: dict[str, Any]) -> None:
    """The limits that plates were held to."""
    limits = script["inputs"]["products"]["limits"]
    used = sorted({one["limits"] for one in script["plates"]})
    words = "; ".join(
        f"{name}: ring angle at least {limits[name]['ring_angle_min_deg']:g}°, mean {limits[name]['ring_angle_mean_deg']:g}°, "
        f"runout at most {limits[name]['runout_max_deg']:g}°"
        for name in used
    )
    console.show(f"Limits in force: {words}.")


def _from_butt(script: dict[str, Any], cut: dict[str, Any]) -> float:
    """Where a crosscut lies along its normal from the pith on the butt end. [mm]"""
    point = script["model"]["ends"]["butt"]["point"]
    return float(cut["offset"] - sum(a * b for a, b in zip(cut["normal"], point, strict=True)))


def _trade_off(console: Console, script: dict[str, Any]) -> None:
    """What fewer settings would give, and what the locks cost."""
    from rich.table import Table

    proof = script["proof"]
    rows = proof.get("trade_off", [])
    if len(rows) > 1:
        table = Table("at most", "charged settings", "instrument wood, L", "complete sets", "minutes")
        for row in rows:
            most = "any" if row["max_settings"] is None else str(row["max_settings"])
            sets = ", ".join(f"{n} {name}" for name, n in row["sets"].items() if n) or "none"
            volume = f"{row['instrument_volume'] / 1e6:.1f}"
            table.add_row(most, str(row["settings"]), volume, sets, f"{row['minutes']:.0f}")
        console.show(table)
    if "locks" in proof:
        cost = proof["locks"]["cost"]
        money = script["proof"].get("counts") == "money"
        text = f"{cost:.2f} in money" if money else f"{cost / 1e6:.1f} L"
        console.show(f"What was held on the command line costs {text} on the search grid.")
