"""pithline plan CARD: choose roll, lifts and cuts for one log, check them by replay, and write the plan."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pithline.cli.console import Console

if TYPE_CHECKING:
    from pithline.plan.api import Locks, Objective


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("card", metavar="CARD", help="the log card, a TOML file beside its scan")
    parser.add_argument("--out", metavar="DIR", required=True, help="folder for the plan; its files are replaced whole")
    add_input_arguments(parser)
    add_search_arguments(parser)
    parser.add_argument(
        "--rung",
        metavar="WHICH",
        type=_rung,
        default="paying",
        help="which plan of the ladder is the plan: the last that pays, the best, or its number from 1 [default: paying]",
    )
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


def add_input_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of every command that reads a mill and product lists."""
    parser.add_argument("--mill", metavar="M", help="a mill file, or a bundled one by name [default: portable]")
    parser.add_argument(
        "--products",
        metavar="P",
        action="append",
        default=[],
        help='a product list: a file, a bundled one by name, or "all"; given several times, all compete [default: the guitar sets]',
    )


def add_objective_argument(parser: argparse.ArgumentParser) -> None:
    """What is made most of; None where it is left to the product lists."""
    parser.add_argument(
        "--objective",
        choices=("sets", "value", "volume"),
        help="what is made most of [default: sets; value where several product lists compete, whose litres are not alike]",
    )


def add_search_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of every command that searches and writes a plan."""
    add_objective_argument(parser)
    parser.add_argument(
        "--effort", choices=("coarse", "full"), default="full", help="how finely to search [default: full]"
    )
    parser.add_argument(
        "--time-limit",
        metavar="S",
        type=_seconds,
        help="end the search after S seconds, with the best plan found until then",
    )
    parser.add_argument("--seed", metavar="N", type=_seed, default=1, help="[default: 1]")
    parser.add_argument("--units", choices=("mm", "in"), default="mm", help="lengths on the sheet [default: mm]")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="[default: A4]")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON, for machines")


def _rung(text: str) -> str:
    """Which plan of the ladder."""
    if text in ("paying", "best") or (text.isdecimal() and 1 <= int(text) <= 99):
        return text
    raise argparse.ArgumentTypeError(f'{text} must be "paying", "best" or the number of a plan of the ladder, from 1')


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

    from pithline.cli.good_for import show_good_for
    from pithline.cli.plan_summary import show_plan, summary_of
    from pithline.cli.stopping import ending
    from pithline.files.write import check_folder, write_folder
    from pithline.outputs.plan_folder import DRAWING, files_begun
    from pithline.plan.api import EFFORTS, Monitor
    from pithline.script.document import dumps
    from pithline.yard.aside import work_aside
    from pithline.yard.one_log import plan_card
    from pithline.yard.request import Request

    started = time.monotonic()
    check_folder(args.out)
    request = Request(
        objective_of(args.objective, args.products),
        EFFORTS[args.effort],
        args.seed,
        pick=args.pick,
        bucking=not args.no_bucking,
        locks=_locks(args),
        keep=_kept(args),
        rung=args.rung,
    )
    if _first_run() and Path(args.card).is_file():
        console.note("preparing, once: the numerical kernels are compiled at the first run.")
    with console.progress() as progress, ending(console, args.time_limit) as stopped, work_aside(*DRAWING) as aside:
        drawing: list[Callable[[], dict[str, bytes]]] = []  # of the plan that is being proven, last

        def draw(script: dict[str, Any]) -> None:
            drawing.append(files_begun(script, args.units, args.paper, aside.begin))

        aside.ready = draw
        plans = plan_card(args.card, args.mill, args.products, request, Monitor(progress, stopped), aside)
        progress("writing", 0.98)
        files = drawing[-1]()
        ladder = {path: dumps(script) for path, script in plans.ladder.items()}
        write_folder(args.out, {**files, **ladder})
    script = json.loads(files["cut-script.json"])  # figures as rounded on writing
    if args.json:
        console.json(summary_of(script))
        return 0
    for caution in script["cautions"]:
        console.caution(caution)
    show_plan(console, script)
    show_good_for(console, script)
    console.show(
        f"Replayed and written to {args.out} in {time.monotonic() - started:.0f} s: cut script, set-up sheet, shop cards, "
        "overview, end templates, labels, preview."
    )
    return 0


def objective_of(named: str | None, products: Sequence[str]) -> Objective:
    """The objective as named; else sets, or value where several lists compete: a litre of one is not worth a litre of another."""
    from pithline.files.product_lists import ALL
    from pithline.plan.api import Objective

    if named is not None:
        return Objective(named)
    return Objective.VALUE if len(products) > 1 or ALL in products else Objective.SETS


def _locks(args: argparse.Namespace) -> Locks:
    """What the sawyer has decided already."""
    from pithline.plan.api import Locks

    return Locks(args.roll, args.first_slab, args.max_settings, args.bolts == "saw")


def _kept(args: argparse.Namespace) -> dict[str, Any] | None:
    """The earlier plan that the new one is held against, where one is named."""
    from pithline.errors import InputError, about
    from pithline.files.scripts import read_script
    from pithline.script.schema import validate

    if args.keep is None:
        return None
    if args.no_bucking or args.roll is not None or args.first_slab is not None or args.bolts == "leave":
        raise InputError(
            "--keep brings an earlier plan's own roll, slabs, bolts and crosscuts, so it cannot stand with --roll, --first-slab, "
            "--bolts leave or --no-bucking; leave one out."
        )
    keep = read_script(Path(args.keep))
    with about(other=args.keep):
        validate(keep)
    return keep


def _first_run() -> bool:
    """Whether no compiled kernel of the package is cached yet."""
    import pithline

    return not any(Path(pithline.__file__).parent.glob("plan/**/__pycache__/*.nbi"))
