"""Whole seasons with invented plans: killed and resumed, workers that die, a full disk, one log that fails."""

from __future__ import annotations

import errno
import json
import logging
import math
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
from distributed import LocalCluster

from pithline.errors import InputError
from pithline.files.products import products_as_read, products_from
from pithline.files.yard import read_yard
from pithline.yard.season.asks import column_of
from pithline.yard.season.cluster import Cluster
from pithline.yard.season.document import season_document
from pithline.yard.season.finishing import settle
from pithline.yard.season.run import run_season
from pithline.yard.season.store import Store
from pithline.yard.season.work import pack, unpack
from season_work import Here, answer_of, make_yard, question

TESTS = Path(__file__).resolve().parents[1]
SEARCHED = os.pathsep.join(filter(None, (str(TESTS), os.environ.get("PYTHONPATH"))))


def quiet(state) -> None:
    assert 0 <= state.done <= state.logs


def direct(asked):
    """The season with the work done in this process."""
    return run_season(asked, quiet, Here())


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    folder = tmp_path_factory.mktemp("season")
    names = [f"log-{n:02d}" for n in range(12)]
    manifest, orders = make_yard(folder, names)
    return folder, manifest, orders, direct(question(manifest, orders, folder / "plain"))


def start(
    folder: Path, manifest: Path, orders: Path, out: str, where: str, seconds: str = "0.15", **more: str
) -> subprocess.Popen:
    environment = {**os.environ, "PYTHONPATH": SEARCHED, "SEASON_SECONDS": seconds, **more}
    command = [sys.executable, str(TESTS / "season_work.py"), str(manifest), str(orders), str(folder / out), where]
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_the_document_holds_and_adds_up(season):
    folder, manifest, orders, found = season
    document = season_document(question(manifest, orders, folder / "plain"), found)
    total = document["totals"]
    assert round(sum(log["value"] - log["cost"] for log in document["logs"]), 2) == total["profit"]
    assert sum(week["minutes"] for week in document["weeks"]) == total["minutes"]
    assert max(week["minutes"] for week in document["weeks"]) <= document["hours_per_week"] * 60
    assert all(o["filled"] == sum(o["from"].values()) <= o["quantity"] for o in document["orders"])
    assert all(o["due"] is None or o["ready"] is None or o["ready"] <= o["due"] for o in document["orders"])
    assert total["profit"] > 0 and document["objective"] <= document["bound"]


def test_killed_at_random_moments_it_ends_with_the_same_plan(season):
    """SIGKILL, three times, wherever it stands; what is finished is found again. Once it has worker processes, and none outlives it."""
    folder, manifest, orders, found = season
    rng, kept = random.Random(4), []
    for where in ("here", "local", "here"):
        running = start(folder, manifest, orders, "killed", where)
        before = len(kept)
        deadline = time.monotonic() + 200
        # a moment after some more results were written, or at once where all are
        while time.monotonic() < deadline and running.poll() is None and len(kept) < min(before + 1, 12):
            kept = list((folder / "killed" / "work").glob("*.plan"))
            time.sleep(0.02)
        time.sleep(rng.uniform(0.0, 0.2))
        children = psutil.Process(running.pid).children(recursive=True) if running.poll() is None else []
        running.send_signal(signal.SIGKILL)
        running.communicate()
        assert not psutil.wait_procs(children, timeout=60)[1]
        kept = list((folder / "killed" / "work").glob("*.plan"))
        assert all(unpack(path.read_bytes()) for path in kept)
    assert kept
    running = start(folder, manifest, orders, "killed", "here", seconds="0")
    out, err = running.communicate(timeout=300)
    assert running.returncode == 0, err
    assert json.loads(out) == json.loads(json.dumps(answer_of(found)))


def test_one_of_two_workers_dies_and_the_season_is_the_same(season):
    """A scheduler and two worker processes of their own; one is killed while it works."""
    folder, manifest, orders, found = season
    environment = {**os.environ, "PYTHONPATH": SEARCHED, "SEASON_SECONDS": "0.1"}
    address = folder / "scheduler.json"
    begin = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard"]
    begin += ["--host", "127.0.0.1", "--scheduler-file", str(address)]
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", str(address), "--nthreads", "1"]
    worker += ["--no-nanny", "--no-dashboard", "--local-directory", str(folder / "scratch")]
    hush = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": environment}
    processes = [subprocess.Popen(begin, **hush)]
    try:
        processes += [subprocess.Popen(worker, **hush) for _ in range(2)]
        deadline = time.monotonic() + 200
        while not address.exists() and time.monotonic() < deadline:
            time.sleep(0.1)
        at = json.loads(address.read_text())["address"]
        running = start(folder, manifest, orders, "cluster", at)
        while len(list((folder / "cluster" / "work").glob("*.plan"))) < 3 and time.monotonic() < deadline + 60:
            time.sleep(0.05)
        assert running.poll() is None
        processes[1].kill()
        out, err = running.communicate(timeout=300)
    finally:
        for process in processes:
            process.kill()
            process.wait()
    assert running.returncode == 0, err
    assert json.loads(out) == json.loads(json.dumps(answer_of(found)))


def test_a_log_that_fails_or_kills_its_worker_costs_no_other(tmp_path):
    """Tried twice among the others and twice alone: once less often than by the command, for each death costs a start."""
    names = [*(f"log-{n:02d}" for n in range(4)), "bad-1", "deadly-1"]
    manifest, orders = make_yard(tmp_path, names)
    running = start(tmp_path, manifest, orders, "out", "local", seconds="0", SEASON_DEATHS="1")
    out, err = running.communicate(timeout=300)
    assert running.returncode == 0, err
    answer = json.loads(out)
    assert set(answer["failed"]) == {"bad-1", "deadly-1"}
    assert answer["failed"]["bad-1"] == "bad-1: no log is in the scan; scan it again."
    assert "its worker died 2 times" in answer["failed"]["deadly-1"]
    assert {log for log, _, _ in answer["sawn"]} <= set(names[:4]) and answer["sawn"]


def test_a_missing_scan_is_its_own_logs_failure(tmp_path):
    manifest, orders = make_yard(tmp_path, ["log-00", "log-01"])
    (tmp_path / "log-01.ply").unlink()
    asked = question(manifest, orders, tmp_path / "out")
    found = direct(asked)
    assert "log-01.ply" in found.failed["log-01"]
    row = season_document(asked, found)["logs"][1]
    assert (row["state"], row["script"]) == ("failed", None) and "log-01.ply" in row["why"]


def test_what_changed_is_planned_anew_and_nothing_else(tmp_path):
    manifest, orders = make_yard(tmp_path, ["log-00", "log-01"])
    asked = question(manifest, orders, tmp_path / "out", rounds=0)
    direct(asked)
    first = {path.name for path in (tmp_path / "out" / "work").iterdir()}
    direct(asked)
    assert {path.name for path in (tmp_path / "out" / "work").iterdir()} == first
    (tmp_path / "log-01.ply").write_text("another scan", encoding="utf-8")
    again = direct(asked)
    new = {path.name for path in (tmp_path / "out" / "work").iterdir()} - first
    assert len(new) == 1 + ("log-01" in again.scripts)


class Noting(Here):
    """Jobs done here, and noted."""

    def __init__(self) -> None:
        self.jobs = []

    def results(self, jobs):
        self.jobs += jobs
        yield from super().results(jobs)


def test_more_plans_are_asked_only_of_logs_that_could_add(tmp_path):
    manifest, orders = make_yard(tmp_path, ["log-00", "log-01", "log-02", "sure-1", "sure-2"])
    workers = Noting()
    found = run_season(question(manifest, orders, tmp_path / "out", rounds=2), quiet, workers)
    more = {job.log for job in workers.jobs if job.what == "more"}
    assert more and more <= {"log-00", "log-01", "log-02"}
    assert found.beyond >= found.choice.bound >= found.choice.objective
    assert found.asked == 5 * 4 + sum(job.what == "more" for job in workers.jobs)


def test_where_no_log_could_add_none_is_asked(tmp_path):
    manifest, orders = make_yard(tmp_path, ["sure-1", "sure-2"])
    workers = Noting()
    found = run_season(question(manifest, orders, tmp_path / "out", rounds=2), quiet, workers)
    assert not any(job.what == "more" for job in workers.jobs)
    assert found.stopped == "no plan of the stated class could add more at the master's prices"


def test_a_torn_result_is_not_trusted(tmp_path):
    store = Store(tmp_path / "work")
    store.put("k", pack({"a": list(range(1000))}))
    path = tmp_path / "work" / "k.plan"
    path.write_bytes(path.read_bytes()[:-40])
    assert store.get("k") is None
    (tmp_path / "work" / ".new-left").write_bytes(b"half")
    store.sweep()
    assert sorted(one.name for one in (tmp_path / "work").iterdir()) == ["k.plan"]


def test_a_full_disk_leaves_whole_results_only(tmp_path):
    """A small tmpfs where it can be mounted; elsewhere the device that is always full."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], capture_output=True, check=False
    )
    store = Store(disk / "work")
    rng = random.Random(1)
    data = pack({"a": [rng.random() for _ in range(3000)]})
    try:
        if mounted.returncode:
            (disk / "work").symlink_to("/dev/full")
            with pytest.raises(InputError, match="cannot be written"):
                store.put("0", data)
            return
        with pytest.raises(InputError, match=r"No space left on device.*make room and start again"):
            for n in range(50):
                store.put(str(n), data)
        names = [path.name for path in (disk / "work").iterdir()]
        assert names and all(name.endswith(".plan") for name in names)
        assert all(store.get(name.removesuffix(".plan")) == data for name in names)
    finally:
        if not mounted.returncode:
            subprocess.run(["umount", str(disk)], check=True)


def test_a_full_disk_ends_the_season_in_one_sentence_and_room_lets_it_go_on(season, tmp_path):
    """The whole season on a small tmpfs; where none can be mounted, a disk that is full after five results."""
    _, manifest, orders, found = season
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=36k", "tmpfs", str(disk)]
    mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    asked = question(manifest, orders, disk / "out")
    try:
        with pytest.MonkeyPatch.context() as patch:
            if not mounted:
                patch.setattr("pithline.yard.season.store.os.fsync", _Filling(5))
            with pytest.raises(InputError, match=r"No space left on device.*make room and start again") as caught:
                direct(asked)
        assert "\n" not in str(caught.value)
        kept = sorted((disk / "out" / "work").iterdir())
        assert 0 < len(kept) < 12 and all(path.suffix == ".plan" and unpack(path.read_bytes()) for path in kept)
        if mounted:
            subprocess.run(["mount", "-o", "remount,size=8m", str(disk)], check=True)
        workers = Noting()
        again = run_season(asked, quiet, workers)
        assert answer_of(again) == answer_of(found)
        assert sum(job.what == "plans" for job in workers.jobs) == 12 - len(kept)
    finally:
        if mounted:
            subprocess.run(["umount", str(disk)], check=True)


class _Filling:
    """Stands for `os.fsync` of a disk with room for so many files."""

    def __init__(self, room: int) -> None:
        self.room = room

    def __call__(self, handle: int) -> None:
        self.room -= 1
        if self.room < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_scheduler_without_a_worker_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("pithline.yard.season.cluster.ANSWER_SECONDS", 1)
    manifest, orders = make_yard(tmp_path, ["log-00"])
    silent = {"dashboard_address": None, "silence_logs": logging.CRITICAL}
    with LocalCluster(n_workers=0, processes=False, **silent) as none:
        address = none.scheduler_address
        with (
            pytest.raises(InputError, match="it has no worker; start some with `dask worker"),
            Cluster(address) as cluster,
        ):
            run_season(question(manifest, orders, tmp_path / "out"), quiet, cluster)


def test_a_column_counts_sets_drying_and_minutes():
    plan = {"name": "x", "sets": {"small guitar": 2, "bridge": 0}, "minutes": 100.2, "billets": []}
    column = column_of(plan, products_from(products_as_read()), read_yard())
    assert (dict(column.sets), column.minutes) == ({"small guitar": 2}, 101)
    # its thickest part, resawn green, in the air, and the weeks indoors
    thickest = max(
        part.thickness
        for one in products_from(products_as_read()).products
        if one.name == "small guitar"
        for part in one.parts
    )
    assert column.drying["small guitar"] == math.ceil(13 * (thickest / 25.4) ** 1.5 + 4)


def test_a_plan_that_does_not_hold_is_struck_out_and_the_rest_chosen_anew(tmp_path):
    manifest, orders = make_yard(tmp_path, ["log-00", "log-01", "torn-1"], cost=0)
    asked = question(manifest, orders, tmp_path / "out", plans=6)
    found = direct(asked)
    (torn,) = [log for log in found.season.logs if log.id == "torn-1"]
    sawn = {one.log: one.column for one in found.choice.sawn}
    assert sawn.get("torn-1", "bridge alone") == "bridge alone"
    assert len(torn.columns) < len(found.season.logs[0].columns)
    assert set(found.scripts) == set(sawn)


def test_the_full_plan_is_taken_only_with_all_that_was_promised():
    coarse = {"totals": {"sets": {"a": 2, "b": 1}, "minutes": 100.0}}
    better = {"totals": {"sets": {"a": 3, "b": 1}, "minutes": 90.0}}
    assert settle(coarse, better) == (
        better,
        "the full search holds all that was promised, and 1 a more, in 10 minutes less",
    )
    short = {"totals": {"sets": {"a": 3}, "minutes": 90.0}}
    assert settle(coarse, short)[0] is coarse and "lacks 1 b" in settle(coarse, short)[1]
    slow = {"totals": {"sets": {"a": 2, "b": 1}, "minutes": 130.0}}
    assert settle(coarse, slow)[0] is coarse and "30 minutes more" in settle(coarse, slow)[1]
    assert settle(coarse, "no wood.")[0] is coarse
