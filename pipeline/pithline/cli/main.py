"""The command line: finds the command, runs it, and turns faults into exit statuses.

Exit status: 0 done; 2 bad input, a script that does not hold, or a usage mistake; 1 a defect in pithline itself.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import os
import sys
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

from pithline.cli.console import Console
from pithline.errors import InputError, PithlineError

ENVIRONMENT = {
    # numba tries TBB first by default and warns where the one it finds is too old; OpenMP and its own pool are nearly everywhere
    "NUMBA_THREADING_LAYER_PRIORITY": "omp workqueue tbb",
    # the fit's linear systems have some hundred unknowns: threads of the linear algebra wait for one another longer than they save
    "OPENBLAS_NUM_THREADS": "1",
    # threads of compiled programmes sleep between two of them: by themselves they go round, and take a core from whoever has work for it
    "OMP_WAIT_POLICY": "passive",
}
"""Set before the numerical libraries are loaded, unless they are set already; the library leaves the environment alone."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command; `pithline.cli.NAME` holds `add_arguments(parser)` and `run(args, console) -> int`."""

    name: str
    line: str


COMMANDS = (
    Command("card", "Start a log card beside a scan: commented, with what the fit knows, and a picture of both ends."),
    Command("fit", "Find and fit the log in a scan: log model, figures and a picture."),
    Command("plan", "Choose roll, lifts and cuts for one log, check them by replay, and write the plan."),
    Command("check", "Replay a cut script on the log, independently of the planner."),
    Command("preview", "Draw a cut script in 3D, alone."),
    Command("sheet", "Print the sheet, cards, templates and labels of a cut script again, without planning."),
    Command("replan", "Plan the rest anew once the log is open."),
    Command("pith", "Find the pith in a photograph of the end grain."),
    Command("lists", "The product lists that come with pithline, their sets, sizes and prices."),
    Command("species", "What is known of each wood, from where, and what it does as it dries."),
    Command("appraise", "What logs are worth before they are bought."),
    Command("season", "Saw many logs against an order book."),
    Command("open", "The same, in a browser."),
)


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes are one line, like every other error a user can make."""

    def error(self, message: str) -> NoReturn:
        raise InputError(f"{message}; see: {self.prog} --help")


def installed() -> tuple[Command, ...]:
    """The commands whose module is part of this package."""
    return tuple(one for one in COMMANDS if importlib.util.find_spec(f"pithline.cli.{one.name}") is not None)


def build_parser(arguments: Sequence[str]) -> argparse.ArgumentParser:
    """A parser that knows every command by name, and the arguments of the one that is asked for."""
    parser = _Parser(
        prog="pithline",
        description="From the scan of one hardwood log to a cut script for quartersawn instrument wood.",
        epilog="Exit status: 0 done, 2 something for you to mend (one line says what), 1 a defect in pithline.",
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    asked = next((one for one in arguments if not one.startswith("-")), None)
    for one in installed():
        inner = commands.add_parser(one.name, help=one.line, description=one.line)
        if one.name == asked:
            importlib.import_module(f"pithline.cli.{one.name}").add_arguments(inner)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    arguments = sys.argv[1:] if arguments is None else list(arguments)
    for name, value in ENVIRONMENT.items():
        os.environ.setdefault(name, value)
    console = Console()
    try:
        return _run(arguments, console)
    except PithlineError as error:
        console.error(str(error))
        return 2
    except KeyboardInterrupt:
        console.error("stopped before the end; nothing was written.")
        return 2
    except Exception:
        console.defect(traceback.format_exc())
        return 1


def _with_axes(arguments: Sequence[str]) -> list[str]:
    """The arguments with an axis such as -y joined to its --up: by itself it would pass for an option."""
    joined: list[str] = []
    for one in arguments:
        if joined and joined[-1] == "--up" and one in ("-x", "-y", "-z"):
            joined[-1] = f"--up={one}"
        else:
            joined.append(one)
    return joined


def _run(arguments: Sequence[str], console: Console) -> int:
    arguments = _with_axes(arguments)
    parser = build_parser(arguments)
    args = parser.parse_args(arguments)
    if args.version:
        from importlib.metadata import version

        console.show(f"pithline {version('pithline')}")
        return 0
    if args.command is None:
        raise InputError("no command given; see: pithline --help")
    status: int = importlib.import_module(f"pithline.cli.{args.command}").run(args, console)
    return status


if __name__ == "__main__":
    sys.exit(main())
