"""A season worked out whole, as a command or a page asks for it: the document, and the cut scripts of the logs that are sawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.files.write import write_folder
from pithline.outputs.reports.season_folder import SEASON_SCRIPT, season_files
from pithline.plan.api import SILENT, Monitor
from pithline.yard.season.cluster import Workers
from pithline.yard.season.document import season_document
from pithline.yard.season.finishing import coarse_scripts, finish
from pithline.yard.season.question import SeasonProgress, SeasonQuestion, Tell
from pithline.yard.season.run import run_season

WORKED_OUT = 0.95
"""The share of the work that is done once all logs are."""


@dataclass(frozen=True, slots=True)
class WorkedSeason:
    """A season's document, and the cut script of each log that is sawn; `full` where these are full plans."""

    document: dict[str, Any]
    scripts: Mapping[str, dict[str, Any]]
    full: bool


def work_out(question: SeasonQuestion, cluster: Workers, full: bool = False, monitor: Monitor = SILENT) -> WorkedSeason:
    """Work a season out.

    Parameters
    ----------
    question : SeasonQuestion
        What is asked.
    cluster : Workers
        Does the logs' jobs.
    full : bool
        Whether the chosen logs are planned fully.
    monitor : Monitor
        Hears how far it is.

    Raises
    ------
    InputError
        Where a file cannot be used.
    """
    answer = run_season(question, _teller(monitor), cluster)
    scripts = coarse_scripts(question, answer)
    notes: dict[str, str] = {}
    if full:
        scripts, notes = finish(question, answer, scripts, _teller(monitor), cluster)
    return WorkedSeason(season_document(question, answer.as_sawn(scripts), notes), scripts, full)


def write_season(season: WorkedSeason, out: str | Path, units: str = "mm", paper: str = "A4") -> None:
    """Write a season's folder; scripts of an earlier one in it whose logs this one leaves are taken away: nobody should saw by them.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    write_folder(out, season_files(season.document, season.scripts, season.full, units, paper))
    for log in season.document["logs"]:
        if log["state"] != "planned":
            (Path(out) / SEASON_SCRIPT.format(log["id"])).unlink(missing_ok=True)


def _teller(monitor: Monitor) -> Tell:
    def tell(state: SeasonProgress) -> None:
        words = f"{state.what}: {state.done} of {state.logs} logs"
        words += f", {state.failed} failed" if state.failed else ""
        if state.profit is not None and state.bound is not None:
            words += f"; best {state.profit / 100:,.2f}, bound {state.bound / 100:,.2f}"
        monitor.report(words, WORKED_OUT * state.done / max(state.logs, 1))

    return tell
