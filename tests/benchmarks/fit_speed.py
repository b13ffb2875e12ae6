"""How long and how much memory reading and fitting take, by the number of points.

From the clone's root: `python tests/benchmarks/fit_speed.py --millions 0.2 1 5 20`
Each size is read and fitted in a process of its own, so that its peak of memory is its own.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

CHILD = """
import resource, sys, time
from pithline.files.scans import read_scan
from pithline.logmodel.card import Card
from pithline.logmodel.fit import fit_log
import pithline.logmodel.fit
start, wall = time.process_time(), time.perf_counter()
scan = read_scan(sys.argv[1])
read = time.process_time()
model = fit_log(scan.points, Card("log", "black walnut", None, up="+z", bark_thickness=float(sys.argv[2])))
done = time.process_time()
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
print(read - start, done - read, time.perf_counter() - wall, peak, model.length)
"""


def main() -> None:
    """Generate, run, print a table in Markdown."""
    from truth.logs import true_log
    from truth.scans import simulate_scan, write_binary_ply

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--millions", nargs="+", type=float, default=[0.2, 1.0, 5.0, 20.0])
    chosen = parser.parse_args()
    log = true_log("oval", 3)
    print("| million points | read, CPU s | fit, CPU s | both, wall s | peak memory, GB | length off, mm |")
    print("|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.ply"
        for millions in chosen.millions:
            write_binary_ply(path, simulate_scan(log, 3, points=int(1e6 * millions)).points)
            command = [sys.executable, "-c", CHILD, str(path), str(log.bark)]
            done = subprocess.run(command, capture_output=True, text=True, check=True)
            read, fit, wall, peak, length = map(float, done.stdout.split())
            off = length - log.length
            print(f"| {millions:g} | {read:.1f} | {fit:.1f} | {wall:.1f} | {peak:.2f} | {off:+.2f} |", flush=True)


if __name__ == "__main__":
    main()
