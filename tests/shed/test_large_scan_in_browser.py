"""A scan of five million points sent to a real server: it is fitted, and neither server nor worker swells."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
import pytest

from pithline.shed.fitting import shown_fit
from pithline.shed.folder import YardFolder
from shed_yard import LONG, ready
from truth.logs import true_log
from truth.scans import simulate_scan, write_binary_ply

POINTS = 5_000_000
MIB = 1024**2
SERVER_GROWS, WORKER_HOLDS = 40 * MIB, 1536 * MIB
"""At most. The file is 57 MiB, which the server must not hold; a worker reads it as 114 MiB of points."""


def five_million(path: Path):
    """A log seen so closely that each of the points of a smaller scan is there many times, 1 mm about."""
    log = true_log("round", 9302)
    seen = simulate_scan(log, 9302, points=200_000).points
    rng = np.random.default_rng(9302)
    again = [seen + rng.normal(0.0, 0.001, seen.shape) for _ in range(-(-POINTS // len(seen)))]
    write_binary_ply(path, np.concatenate(again)[:POINTS])
    return log


class Memory:
    """The most that a process and those it started ever held, as the kernel tells it."""

    def __init__(self, pid: int) -> None:
        self.pid, self.most, self.over = pid, {}, threading.Event()
        self.watch = threading.Thread(target=self._watch)

    def __enter__(self):
        self.look()
        self.watch.start()
        return self

    def __exit__(self, *_):
        self.over.set()
        self.watch.join()

    def _watch(self):
        while not self.over.wait(0.1):
            self.look()

    def look(self):
        """Note each process's high-water mark."""
        parents = {int(path.name): self._told(path, "PPid") for path in Path("/proc").glob("[0-9]*")}
        for pid in [self.pid, *self._below(parents, self.pid)]:
            held = self._told(Path("/proc") / str(pid), "VmHWM")
            if held:
                self.most[pid] = 1024 * held

    def _below(self, parents, pid):
        for child in [one for one, parent in parents.items() if parent == pid]:
            yield child
            yield from self._below(parents, child)

    @staticmethod
    def _told(process: Path, name: str) -> int:
        try:
            lines = (process / "status").read_text().splitlines()
        except OSError:
            return 0  # it ended meanwhile
        return next((int(line.split()[1]) for line in lines if line.startswith(f"{name}:")), 0)


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="this system does not tell what a process holds")
def test_five_million_points_are_fitted_in_bounded_memory(page, server, yard):
    file = yard.parent / "large.ply"
    log = five_million(file)
    assert file.stat().st_size > 12 * POINTS
    ready(page, "/")
    with Memory(server[0].pid) as memory:
        before = memory.most[server[0].pid]
        page.set_input_files("#scans", str(file))
        page.wait_for_selector("#log-large >> text=Fitted, not yet planned", timeout=3 * LONG)
    assert memory.most[server[0].pid] - before < SERVER_GROWS
    workers = {pid: held for pid, held in memory.most.items() if pid != server[0].pid}
    assert (
        24 * POINTS < max(workers.values()) < WORKER_HOLDS
    )  # more than the points: the worker that read them was watched
    page.click("#log-large >> text=Mark the pith")
    page.wait_for_selector("#face-butt svg")
    shown = shown_fit(YardFolder(yard), "large")
    assert abs(shown["facts"]["length"] - log.length) < 10.0
