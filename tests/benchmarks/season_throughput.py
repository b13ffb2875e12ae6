"""A yard of generated logs planned coarsely and assigned: seconds by number of workers, memory, growth with the logs.

From the clone's root: `python tests/benchmarks/season_throughput.py --logs 8 --workers 1 2` prints a row a run. The figure to reach is
`--logs 200 --workers 2`: under 45 minutes and 4 GB on two cores that do nothing else. Logs are 300 to 700 mm across and 1.2 to 2.5 m long.
Each run starts from an empty folder, and ends with the chosen logs' scripts replayed and written. "CPU s" is of the season and its
workers alone: where other work shares the cores, it says what the wall's seconds cannot.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import psutil

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from truth.logs import KINDS, true_log
from truth.scans import card_text, simulate_scan, write_binary_ply

ORDERS = "product,quantity,due\nsmall guitar,{0},2027-06-30\ndreadnought guitar,{0},\ntenor ukulele,{1},2027-03-31\nbridge,{1},\n"


def make_yard(folder: Path, logs: int) -> None:
    """Cards, scans, manifest and orders of generated logs."""
    rng = np.random.default_rng(11)
    rows = []
    for n in range(logs):
        kind = KINDS[n % len(KINDS)]
        log = replace(
            true_log(kind, n), name=f"{kind}-{n:03d}", radius=rng.uniform(150, 340), length=rng.uniform(1200, 2500)
        )
        scan = simulate_scan(log, n)
        name = f"log-{n:03d}"
        write_binary_ply(folder / f"{name}.ply", scan.points)
        (folder / f"{name}.toml").write_text(card_text(log, scan, f"{name}.ply"), encoding="utf-8")
        rows.append(f"{name}.toml,{60 + int(log.radius)}")
    (folder / "logs.csv").write_text("card,cost\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "orders.csv").write_text(ORDERS.format(max(2, logs), max(4, 3 * logs)), encoding="utf-8")


def watch(pid: int, peak: list[float], stop: threading.Event) -> None:
    """Greatest memory of a process and all its children together. [GiB]"""
    while not stop.wait(0.5):
        total = 0
        try:
            own = psutil.Process(pid)
            for one in [own, *own.children(recursive=True)]:
                total += one.memory_info().rss
        except psutil.Error:
            continue
        peak[0] = max(peak[0], total / 2**30)


def main() -> None:
    """Make the yard, run the season, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, nargs="+", default=[8])
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--plans", type=int, default=4)
    parser.add_argument("--rounds", type=int, default=1)
    chosen = parser.parse_args()
    print("logs  workers  wall s  CPU s  CPU s a log  peak GiB  sawn  asked  profit  gap")
    for logs in chosen.logs:
        for workers in chosen.workers:
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                make_yard(folder, logs)
                command = [sys.executable, "-m", "pithline.cli.main", "season", str(folder / "logs.csv")]
                command += [
                    "--orders",
                    str(folder / "orders.csv"),
                    "--out",
                    str(folder / "out"),
                    "--start",
                    "2026-11-30",
                ]
                command += [
                    "--workers",
                    str(workers),
                    "--plans",
                    str(chosen.plans),
                    "--rounds",
                    str(chosen.rounds),
                    "--json",
                ]
                before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
                running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
                peak, stop = [0.0], threading.Event()
                watcher = threading.Thread(target=watch, args=(running.pid, peak, stop))
                watcher.start()
                out, err = running.communicate()
                stop.set()
                watcher.join()
                wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
                if running.returncode:
                    raise SystemExit(err)
                document = json.loads(out)
                cpu = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
                print(
                    f"{logs:4}  {workers:7}  {wall:6.0f}  {cpu:5.0f}  {cpu / logs:11.1f}  {peak[0]:8.2f}  "
                    f"{sum(log['state'] == 'planned' for log in document['logs']):4}  {document['columns']['asked']:5}  "
                    f"{document['totals']['profit']:.2f}  {document['gap']:.2%}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
