"""What the pages of one server share: the yard, its work, the door, and the settings that its folder keeps."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from threading import Lock
from typing import Any, TypeVar

from pithline.files.write import write_folder
from pithline.shed.access import Door
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs
from pithline.yard.aside import end_with_parent

Result = TypeVar("Result")
SETTINGS = "settings.json"
KNOWN = {"units": ("mm", "in"), "paper": ("A4", "Letter")}


@dataclass(slots=True)
class Shed:
    """One running server.

    Attributes
    ----------
    yard : YardFolder
    jobs : Jobs
    door : Door
    address : str
        Under which a phone reaches it, empty where it is not shared.
    writing : Lock
        Held while a state is read, changed and written again.
    """

    yard: YardFolder
    jobs: Jobs
    door: Door
    address: str = ""
    writing: Lock = field(default_factory=Lock, repr=False)
    _pools: dict[str, ProcessPoolExecutor] = field(default_factory=dict, repr=False)

    @property
    def units(self) -> str:
        """How measures are written: "mm" or "in"."""
        return self.setting("units")

    def setting(self, name: str) -> str:
        """A setting of the yard; the first known value where none was made."""
        try:
            value = json.loads((self.yard.hidden / SETTINGS).read_text(encoding="utf-8")).get(name)
        except (OSError, ValueError, AttributeError):
            value = None
        return value if value in KNOWN[name] else KNOWN[name][0]

    def set(self, name: str, value: str) -> None:
        """Keep a setting; an unknown value is none."""
        if value in KNOWN[name]:
            made = {key: self.setting(key) for key in KNOWN} | {name: value}
            write_folder(self.yard.hidden, {SETTINGS: json.dumps(made).encode()})

    def places(self) -> list[tuple[str, str]]:
        """The pages that belong to no one log."""
        return [
            ("Yard", "/"),
            ("Appraisal", "/appraisal"),
            ("Season", "/season"),
            ("Mills and lists", "/own"),
            ("Settings", "/settings"),
        ]

    async def fit(self, log: str) -> dict[str, Any]:
        """Fit a log in the process that keeps its scan at hand."""
        from pithline.shed.fitting import fit_and_show

        return await self.aside(fit_and_show, self.yard, log)

    async def aside(self, work: Callable[..., Result], *about: Any) -> Result:
        """Do something that takes a moment in a process of its own, never in the one that answers pages."""
        return await self._in("aside", work, *about)

    async def at_hand(self, work: Callable[..., Result], *about: Any) -> Result:
        """The same in the process that keeps the tables of the log that is turned by hand."""
        return await self._in("at hand", work, *about)

    async def _in(self, name: str, work: Callable[..., Result], *about: Any) -> Result:
        if name not in self._pools:
            self._pools[name] = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=end_with_parent)
        return await asyncio.get_running_loop().run_in_executor(self._pools[name], partial(work, *about))

    def close(self) -> None:
        """End these processes; what was started as work of its own goes on."""
        for pool in self._pools.values():
            pool.shutdown(wait=False, cancel_futures=True)
        self._pools.clear()
