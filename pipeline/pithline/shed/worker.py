"""The process that does long work: `python -m pithline.shed.worker FOLDER KIND LOG`. It calls what the commands call."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import radians
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from pithline.errors import InputError, PithlineError
from pithline.shed.folder import SCRIPT, YardFolder
from pithline.shed.jobs import ALIVE_EVERY, Jobs, JobState, end_of_best, stop_file, write_state
from pithline.shed.sawing import FOUND

if TYPE_CHECKING:
    from pithline.logmodel.model import LogModel
    from pithline.shed.plan_view import Array

YIELDS = 10
"""Steps by which long work stands back for the pages where both want a core."""


class Telling:
    """Keeps the state's file up to date; its methods are those of a monitor."""

    def __init__(self, path: Path, state: JobState) -> None:
        self.path, self.state, self.written = path, state, 0.0

    def tell(self, what: str, part: float) -> None:
        """What is being done."""
        words = what.partition(": best so far")[0]
        changed = words != self.state.what
        self.state = replace(self.state, what=words, part=max(self.state.part, min(part, 1.0)))
        self._write(at_once=changed and time.monotonic() - self.written > 0.2)

    def found(self, best: float, bound: float | None = None) -> None:
        """A plan of this value is in hand, and none is worth more than the bound."""
        curve, since = self.state.curve, round(time.time() - self.state.started, 1)
        last = curve[-1] if curve else [None, None, None]
        held = best if last[1] is None else max(best, last[1])
        most = last[2] if bound is None else bound if last[2] is None else max(bound, last[2])
        if [held, most] != last[1:]:
            self.state = replace(self.state, curve=[*curve, [since, held, most]])
            self._write(at_once=True)

    def carried_out(self, model: LogModel, plates: Sequence[tuple[str, Array, Array]]) -> None:
        """The best plan so far that was carried out: its end is drawn beside the state, for the page to show."""
        from pithline.files.write import write_folder
        from pithline.shed.plan_view import PlateBox, drawn_end, picture_of

        boxes = [PlateBox(corner, edges, name, True) for name, corner, edges in plates]
        drawn = drawn_end(picture_of(model, boxes, {}), "that is the best so far", "best")
        file = end_of_best(self.path)
        write_folder(file.parent, {file.name: drawn["svg"].encode()})

    def stopped(self) -> bool:
        """Whether the work was asked to end."""
        return stop_file(self.path).exists()

    def end(self, fault: str = "") -> None:
        """The last word."""
        self.state = replace(
            self.state, done=True, fault=fault, part=self.state.part if fault else 1.0, what="" if fault else "done"
        )
        self._write(at_once=True)

    def _write(self, at_once: bool) -> None:
        now = time.monotonic()
        if at_once or now - self.written > ALIVE_EVERY:
            self.written = now
            write_state(self.path, self.state)


def begin(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """A scan to a card, its fit and its faces: the commands card and fit, one after the other."""
    from pithline.shed.fitting import fit_and_show

    log = yard.log(state.log)
    if log.card is None:
        assert log.scan is not None
        telling.tell("reading the scan and finding the log", 0.05)
        asked = [f"--{key}={value}" for key, value in state.asked.items() if key in ("units", "up", "pick") and value]
        _command(["card", *asked, "--", str(log.scan)])
    telling.tell("fitting the log", 0.5)
    fit_and_show(yard, state.log, pick=_number(state.asked.get("pick")), pictures=True)


def plan(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """A card to a plan's folder, as the command plan does it."""
    from pithline.library import plan_card, write_plan
    from pithline.plan.api import EFFORTS, Locks, Monitor, Objective
    from pithline.shed.plan_view import keep_view
    from pithline.yard.request import Request

    log, asked = yard.log(state.log), state.asked
    if log.card is None:
        raise InputError(f"{state.log} has no card yet; begin it first.")
    objective = Objective(asked["objective"])
    telling.state = replace(telling.state, unit="money" if objective.in_money else "L")
    held = asked.get("held", {})
    roll = held.get("roll_deg")
    locks = Locks(
        None if roll is None else radians(roll),
        held.get("first_slab"),
        held.get("max_settings"),
        not held.get("leave_bolts"),
    )
    request = Request(
        objective,
        EFFORTS[asked["effort"]],
        pick=_number(asked.get("pick")),
        rung=asked.get("rung", "paying"),
        locks=locks,
    )
    found = plan_card(
        log.card,
        request,
        mill=yard.choice_path("mills", asked["mill"]),
        products=[yard.choice_path("products", one) for one in asked["products"]],
        monitor=Monitor(telling.tell, telling.stopped, telling.found, telling.carried_out),
    )
    telling.tell("drawing the sheet, cards, labels and preview", 0.97)
    write_plan(found, yard.root / state.out, asked.get("units", "mm"), asked.get("paper", "A4"))
    keep_view(yard, yard.root / state.out, asked.get("units", "mm"))


def weigh(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """What a log is good for, by each product list alone, before any plan is made."""
    from pithline.plan.api import COARSE, Monitor, Objective
    from pithline.shed.weighing import keep_weighed
    from pithline.yard.request import Request
    from pithline.yard.weighed_log import weigh_card

    log, asked = yard.log(state.log), state.asked
    if log.card is None:
        raise InputError(f"{state.log} has no card yet; begin it first.")
    found = weigh_card(
        log.card,
        yard.choice_path("mills", asked["mill"]),
        [yard.choice_path("products", one) for one in asked["products"]],
        Request(Objective(asked.get("objective", "sets")), COARSE),
        Monitor(telling.tell, telling.stopped),
    )
    keep_weighed(yard, state.log, found, asked["mill"])


def appraise(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """Logs to an appraisal's folder, as the command appraise does it; pictures are kept for the page."""
    from datetime import date

    from pithline.library import Appraisal, write_appraisal
    from pithline.plan.api import Objective
    from pithline.shed.lots import keep_pictures
    from pithline.yard.appraisal.lot import appraise_lot
    from pithline.yard.appraisal.terms import AppraisalFiles, read_lot, read_terms

    asked = state.asked
    cards = [yard.log(name).card for name in asked["logs"]]
    files = AppraisalFiles(
        yard.choice_path("mills", asked["mill"]),
        [yard.choice_path("products", one) for one in asked["products"]],
        yard.own_file("priors.toml"),
        yard.own_file("yard.toml"),
    )
    terms = read_terms(files, asked["margin"], 1, date.fromisoformat(asked["on"]), Objective(asked["objective"]))
    lot = read_lot([str(card) for card in cards if card is not None])
    document, done = appraise_lot(lot, terms, _workers(), _until_stopped(telling))
    pictures = [one.pictures for one in done]
    write_appraisal(Appraisal(document, pictures), yard.root / state.out)
    keep_pictures(yard, state.out, pictures)


def season(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """The yard against its orders, as the command season does it; finished work is kept in the season's folder."""
    from datetime import date

    from pithline.plan.api import Monitor
    from pithline.shed.seasons import LOGS, ORDERS
    from pithline.yard.season.cluster import Cluster
    from pithline.yard.season.question import SeasonQuestion
    from pithline.yard.season.whole import work_out, write_season

    asked, out = state.asked, yard.root / state.out
    question = SeasonQuestion(
        str(yard.root / LOGS),
        str(yard.root / ORDERS),
        str(out),
        date.fromisoformat(asked["start"]),
        yard.choice_path("mills", asked["mill"]),
        tuple(yard.choice_path("products", one) for one in asked["products"]),
        yard.own_file("yard.toml"),
        yard.own_file("priors.toml"),
    )
    with Cluster(None, _workers()) as cluster:
        worked = work_out(question, cluster, bool(asked.get("finish")), Monitor(_until_stopped(telling)))
    telling.tell("writing the season", 0.98)
    write_season(worked, out, asked.get("units", "mm"), asked.get("paper", "A4"))


def _until_stopped(telling: Telling) -> Callable[[str, float], None]:
    """Tells how far work is that cannot end early with what it has; once it was asked to end, it breaks it off."""

    def tell(what: str, part: float) -> None:
        if telling.stopped():
            raise InputError("it was stopped; start it again when you like.")
        telling.tell(what, part)

    return tell


def _workers() -> int:
    """Processes that share the work; one core is left to the pages."""
    return max(1, (os.cpu_count() or 1) - 1)


def replan(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """What is left of an opened log, planned anew, as the command replan does it."""
    from pithline.library import read_script, replan_log, write_plan
    from pithline.plan.api import EFFORTS, Monitor, Objective
    from pithline.shed.plan_view import keep_view, write_earlier
    from pithline.yard.request import Request

    asked = state.asked
    earlier = yard.plan(state.log, asked["plan"]).path
    request = Request(Objective(asked.get("objective", "sets")), EFFORTS[asked.get("effort", "coarse")])
    monitor = Monitor(telling.tell, telling.stopped, telling.found)
    new = replan_log(
        read_script(earlier / SCRIPT), asked["after"], earlier / FOUND, request, monitor, f"{asked['plan']}/{SCRIPT}"
    )
    telling.tell("drawing the sheet, cards, labels and preview", 0.97)
    write_plan(new, yard.root / state.out, asked.get("units", "mm"), asked.get("paper", "A4"))
    write_earlier(yard.root / state.out, asked["plan"])
    keep_view(yard, yard.root / state.out, asked.get("units", "mm"))


def take(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """Another plan of a ladder as a plan of its own, as if it had been asked for by its number; nothing is searched."""
    from pithline.library import read_script, write_plan
    from pithline.shed.plan_view import keep_view
    from pithline.yard.ladder_scripts import PlanScripts

    asked = state.asked
    earlier = yard.plan(state.log, asked["plan"]).path
    rows = read_script(earlier / SCRIPT)["proof"].get("ladder") or []
    number = int(asked["rung"])
    place = rows[number].get("script") if 0 <= number < len(rows) else None
    if place is None or not (earlier / rung_file(place)).is_file():
        raise InputError("the script of that plan is not in the ladder's folder any more; plan the log again.")
    telling.tell("drawing the sheet, cards, labels and preview", 0.2)
    script = read_script(earlier / rung_file(place))
    others = {rung_file(row["script"]) for row in script["proof"].get("ladder") or [] if row.get("script")}
    # the plan that is given up has no file beside itself: it is the folder's own script
    beside = {one: read_script(earlier / (one if (earlier / one).is_file() else SCRIPT)) for one in sorted(others)}
    write_plan(PlanScripts(script, beside), yard.root / state.out, asked.get("units", "mm"), asked.get("paper", "A4"))
    keep_view(yard, yard.root / state.out, asked.get("units", "mm"))


def rung_file(place: object) -> str:
    """Where a script says that another plan of its ladder lies: a file of the folder `ladder`, whatever else it says."""
    return f"ladder/{PurePosixPath(str(place)).name}"


def look(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """Make ready what the pages show of a plan that the command line wrote."""
    from pithline.shed.plan_view import keep_view

    telling.tell("reading the plan", 0.3)
    keep_view(yard, yard.plan(state.log, state.asked["plan"]).path, state.asked.get("units", "mm"))


def photo(yard: YardFolder, state: JobState, telling: Telling) -> None:
    """The pith in a photograph of an end, by the command pith; what it found is kept for the page to show."""
    from pithline.files.write import write_folder
    from pithline.shed.intake import photo_name

    telling.tell("following the rings", 0.2)
    end, folder = state.asked["end"], yard.fit_folder(state.log)
    asked = [
        "pith",
        f"--across={state.asked['across']}",
        "--out",
        str(folder),
        "--json",
        "--",
        str(folder / photo_name(end)),
    ]
    write_folder(folder, {f"end-{end}.pith.json": _command(asked).encode()})


KINDS: Mapping[str, Callable[[YardFolder, JobState, Telling], None]] = {
    "begin": begin,
    "plan": plan,
    "weigh": weigh,
    "appraise": appraise,
    "season": season,
    "replan": replan,
    "take": take,
    "look": look,
    "photo": photo,
}
"""What a worker can do."""


def _number(value: Any) -> int | None:
    return int(value) if value else None


def _command(arguments: list[str]) -> str:
    """Run a command of pithline and return what it says; its own sentence where it refuses."""
    done = subprocess.run(
        [sys.executable, "-m", "pithline.cli.main", *arguments], capture_output=True, text=True, check=False
    )
    if done.returncode:
        lines = [line for line in done.stderr.splitlines() if line.startswith("error: ")]
        if not lines:
            raise RuntimeError(done.stderr)
        raise InputError(lines[-1].removeprefix("error: "))
    return done.stdout


def main(arguments: list[str]) -> int:
    """Do one piece of work and say how it ended."""
    folder, kind, log = arguments
    if hasattr(os, "nice"):
        os.nice(YIELDS)
    jobs = Jobs(YardFolder(Path(folder)))
    path, state = jobs.path(kind, log), jobs.state(kind, log)
    if state is None:
        return 2
    telling = Telling(path, replace(state, pid=os.getpid()))
    telling.tell("starting", 0.0)
    write_state(path, telling.state)
    try:
        KINDS[kind](jobs.yard, telling.state, telling)
    except PithlineError as error:
        telling.end(plain_sentence(str(error), jobs.yard))
        return 2
    except Exception:
        traceback.print_exc()
        telling.end("this is a fault in pithline itself, not in your files; the details stand in its log.")
        return 1
    telling.end()
    return 0


def plain_sentence(text: str, yard: YardFolder) -> str:
    """A fault in one line, the yard's own folder left out of its file names."""
    return " ".join(text.replace(f"{yard.root}{os.sep}", "").split())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
