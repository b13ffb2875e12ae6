"""How long until a first usable plan is in hand, and until all is written: the command timed from its start, imports and all.

From the clone's root: `python tests/benchmarks/plan_times.py sample_scans/af-07.toml --effort coarse full`
Prints a row a card and effort: seconds to the first plan that Ctrl-C would keep, seconds in all, CPU seconds, peak memory.
"""

from __future__ import annotations

import argparse
import os
import pty
import resource
import subprocess
import sys
import tempfile
import time

SAID = b"best so far"


def timed(arguments: list[str]) -> tuple[float, float, float, float]:
    """Wall seconds to the first plan and to the end, CPU seconds, peak memory in MB of one run of the command."""
    lead, follow = pty.openpty()  # progress is told to terminals only
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    work = subprocess.Popen(
        [sys.executable, "-m", "pithline.cli.main", *arguments], stdout=subprocess.DEVNULL, stderr=follow
    )
    os.close(follow)
    first, heard = float("nan"), b""
    while True:
        try:
            told = os.read(lead, 4096)
        except OSError:  # the command has closed its end
            break
        if not told:
            break
        heard = heard[-len(SAID) :] + told
        if first != first and SAID in heard:
            first = time.perf_counter() - start
    if work.wait():
        raise SystemExit(f"pithline {' '.join(arguments)} ended with {work.returncode}")
    whole = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return first, whole, spent, after.ru_maxrss / 1024.0


def main() -> None:
    """Time each card at each effort."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cards", nargs="+")
    parser.add_argument("--effort", nargs="+", default=["coarse", "full"])
    chosen = parser.parse_args()
    print("card                       effort  first plan, s   all, s    CPU s   peak MB so far")
    for card in chosen.cards:
        for effort in chosen.effort:
            with tempfile.TemporaryDirectory() as folder:
                first, whole, spent, memory = timed(["plan", card, "--effort", effort, "--out", f"{folder}/plan"])
            print(f"{card:26} {effort:7} {first:12.1f} {whole:9.1f} {spent:8.1f} {memory:9.0f}", flush=True)


if __name__ == "__main__":
    main()
