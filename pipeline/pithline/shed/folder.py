"""What lies in a yard's folder: scans, cards, fits, plans. Every name a page sends is looked up here and never used as a path."""

from __future__ import annotations

import json
import re
import time
import tomllib
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from pithline.errors import InputError
from pithline.files.bundled import bundled_names
from pithline.files.scans import SCAN_SUFFIXES

HIDDEN = ".shed"
"""The folder of what the page keeps for itself: states of running work, pictures made of what lies beside it."""
MOMENT = 0.3
"""How old what a page shows of the folder may be. [s]"""
PLAN_NAME = re.compile(r"[A-Za-z0-9][\w.-]{0,60}")
SCRIPT = "cut-script.json"
HEAD_BYTES = 8192
"""A cut script names its log in its first bytes; the whole of it is megabytes."""


@dataclass(frozen=True, slots=True)
class PlanEntry:
    """A folder with a cut script of one log: `name` is its path within the yard, with slashes."""

    name: str
    path: Path
    made: float


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One log of the yard: its card, or a scan that has none yet.

    Attributes
    ----------
    name : str
        The card's (or scan's) file name without its suffix.
    card, scan : Path, optional
    wood : str
        The species on the card, empty where there is no readable card.
    fault : str
        Why the card cannot be read, empty where it can.
    plans : tuple of PlanEntry
        The newest first.
    """

    name: str
    card: Path | None
    scan: Path | None
    wood: str = ""
    fault: str = ""
    plans: tuple[PlanEntry, ...] = ()


@dataclass(frozen=True, slots=True)
class ReportEntry:
    """A folder with an appraisal or a season: `name` is its name within the yard."""

    name: str
    path: Path
    made: float


@dataclass(frozen=True, slots=True)
class YardFolder:
    """A folder of logs."""

    root: Path

    @property
    def hidden(self) -> Path:
        """Where the page keeps what is its own."""
        return self.root / HIDDEN

    def logs(self) -> list[LogEntry]:
        """Every log by name."""
        plans = self._plans()
        cards = {path.stem: path for path in sorted(self.root.glob("*.toml")) if _is_card(path)}
        entries = [_from_card(name, path, plans.get(_log_id(path), ())) for name, path in cards.items()]
        taken = {entry.scan.resolve() for entry in entries if entry.scan is not None}
        for path in sorted(self.root.iterdir()):
            begun = path.stem in cards or path.resolve() in taken
            if _is_scan(path) and not begun:
                entries.append(LogEntry(path.stem, None, path))
        return sorted(entries, key=lambda entry: entry.name.lower())

    def log(self, name: str) -> LogEntry:
        """The log of that name; InputError where there is none."""
        for entry in self.logs():
            if entry.name == name:
                return entry
        raise InputError(f'there is no log "{name[:60]}" in this yard; go back to the yard and choose one.')

    def plan(self, log: str, name: str) -> PlanEntry:
        """The plan of that name; InputError where the log has none."""
        for entry in self.log(log).plans:
            if entry.name == name:
                return entry
        raise InputError(f'the log "{log[:60]}" has no plan "{name[:60]}"; go back to its plans and choose one.')

    def next_plan(self, log: str) -> str:
        """A plan name that is free: nothing that was planned is ever overwritten."""
        number = 1
        while (self.root / log / f"plan-{number}").exists():
            number += 1
        return f"{log}/plan-{number}"

    def fit_folder(self, log: str) -> Path:
        """Where a log's fit is written, as `pithline fit --out` would."""
        return self.root / log / "fit"

    def reports(self, kind: str) -> list[ReportEntry]:
        """Appraisals ("appraisal") or seasons ("season") that lie in the yard, the newest first."""
        found = [path for path in self.root.glob(f"*/{kind}.json") if not path.parent.name.startswith(".")]
        made = [ReportEntry(path.parent.name, path.parent, path.stat().st_mtime) for path in found]
        return sorted(made, key=lambda one: (-one.made, one.name))

    def report(self, kind: str, name: str) -> ReportEntry:
        """The appraisal or season of that name; InputError where there is none."""
        for one in self.reports(kind):
            if one.name == name:
                return one
        raise InputError(f'there is no {kind} "{name[:60]}" in this yard; go back to the yard.')

    def next_report(self, kind: str) -> str:
        """A folder's name that is free."""
        number = 1
        while (self.root / f"{kind}-{number}").exists():
            number += 1
        return f"{kind}-{number}"

    def own_file(self, name: str) -> str | None:
        """A file of the yard's own that a command may be given, such as "priors.toml"; `None` where the bundled one holds."""
        path = self.root / name
        return str(path) if path.is_file() else None

    def choices(self, kind: str) -> list[str]:
        """Mills or products that a plan may name: the yard's own files first, then bundled ones by name."""
        own = sorted(path.stem for path in (self.root / kind).glob("*.toml")) if (self.root / kind).is_dir() else []
        return [f"{kind}/{name}.toml" for name in own if PLAN_NAME.fullmatch(name)] + bundled_names(kind)

    def choice_path(self, kind: str, choice: str) -> str:
        """What a command is given for a choice: a path of the yard's own file, else the bundled name. InputError for any other."""
        if choice not in self.choices(kind):
            raise InputError(f'"{choice[:60]}" is none of this yard\'s {kind}; choose one from the list.')
        return str(self.root / choice) if choice.startswith(f"{kind}/") else choice

    def _plans(self) -> dict[str, tuple[PlanEntry, ...]]:
        found: dict[str, list[PlanEntry]] = {}
        for pattern in (f"*/{SCRIPT}", f"*/*/{SCRIPT}", f"*/logs/*/{SCRIPT}"):
            for path in self.root.glob(pattern):
                parts = path.parent.relative_to(self.root).parts
                if any(part.startswith(".") for part in parts):
                    continue
                log = _log_of_script(path)
                if log is not None:
                    found.setdefault(log, []).append(PlanEntry("/".join(parts), path.parent, path.stat().st_mtime))
        return {log: tuple(sorted(plans, key=lambda plan: (-plan.made, plan.name))) for log, plans in found.items()}


@dataclass(frozen=True, slots=True)
class WatchedYard(YardFolder):
    """A folder that many pages look at all the time: it is looked through a few times a second at most."""

    _seen: dict[str, tuple[float, list[LogEntry]]] = field(default_factory=dict, compare=False, repr=False)

    def logs(self) -> list[LogEntry]:
        """Every log by name, as the folder was a moment ago."""
        now = time.monotonic()
        at, held = self._seen.get("logs", (-1.0, []))
        if now - at > MOMENT:
            held = YardFolder.logs(self)
            self._seen["logs"] = (now, held)
        return held


def _is_scan(path: Path) -> bool:
    return (
        path.is_file()
        and not path.name.startswith(".")
        and path.suffix.lower().lstrip(".") in SCAN_SUFFIXES - {"txt", "csv"}
    )


def _is_card(path: Path) -> bool:
    """Whether a TOML file speaks of a log; one that cannot be read counts where its text begins such a table."""
    return "[log]" in _text(path)


def _card_tables(path: Path) -> dict[str, Any]:
    try:
        return _tables(_text(path))
    except ValueError:
        return {}


def _text(path: Path) -> str:
    """A small file's text, held in memory while the file stays the same: pages look at the folder again and again."""
    try:
        return _read(str(path), path.stat().st_mtime_ns)
    except OSError:
        return ""


@lru_cache(maxsize=1024)
def _read(path: str, changed: int) -> str:
    return Path(path).read_text(encoding="utf-8", errors="replace")


@lru_cache(maxsize=1024)
def _tables(text: str) -> dict[str, Any]:
    return tomllib.loads(text)


def _log_id(path: Path) -> str:
    log = _card_tables(path).get("log", {})
    return str(log.get("id", path.stem)) if isinstance(log, dict) else path.stem


def _from_card(name: str, path: Path, plans: tuple[PlanEntry, ...]) -> LogEntry:
    log = _card_tables(path).get("log")
    if not isinstance(log, dict):
        return LogEntry(
            name, path, None, fault="the card cannot be read as TOML; mend it in a text editor", plans=plans
        )
    scan = path.parent / str(log["scan"]) if log.get("scan") else None
    there = scan is not None and scan.is_file() and path.parent.resolve() in scan.resolve().parents
    return LogEntry(name, path, scan if there else None, str(log.get("species", "")), plans=plans)


def _log_of_script(path: Path) -> str | None:
    """The id of the log that a cut script is of, from its head alone."""
    try:
        return _id_in_head(str(path), path.stat().st_mtime_ns)
    except OSError:
        return None


@lru_cache(maxsize=1024)
def _id_in_head(path: str, changed: int) -> str | None:
    with Path(path).open("rb") as file:
        head = file.read(HEAD_BYTES).decode("utf-8", errors="replace")
    found = re.search(r'"log"\s*:\s*\{[^{}]*?"id"\s*:\s*("(?:[^"\\]|\\.)*")', head)
    try:
        return str(json.loads(found[1])) if found else None
    except ValueError:
        return None
