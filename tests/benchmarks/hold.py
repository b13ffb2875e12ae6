"""Do plans hold on the real log? Generated logs, scanned, fitted and planned by the command, held against their truth.

From the clone's root: `python tests/benchmarks/hold.py --kinds round swept --seeds 101 102 --effort coarse`
Prints a row a log: litres claimed and true, their ratio, the ratio to the practice layout, breaches and what was lost.
"""

from __future__ import annotations

import argparse
import collections
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from truth.judge import Verdict, judge
from truth.logs import KINDS, TrueLog, true_log
from truth.scans import MARK_ERROR, Scan, card_text, marked_off, simulate_scan, write_binary_ply


def scanned(log: TrueLog, seed: int, folder: Path, error: float = 0.0) -> tuple[str, Scan]:
    """The card of a log as a phone would scan it, written into a folder with its scan; marks off by `error` mm per axis."""
    chance = np.random.default_rng([seed, *log.name.encode()])
    scan = marked_off(log, simulate_scan(log, seed), chance, error)[0]
    write_binary_ply(folder / "log.ply", scan.points)
    (folder / "log.toml").write_text(card_text(log, scan, "log.ply"), encoding="utf-8")
    return str(folder / "log.toml"), scan


def run(out: Path, *arguments: str) -> dict | str:
    """The cut script that the command writes into a folder, or its one line of error."""
    done = subprocess.run(
        [sys.executable, "-m", "pithline.cli.main", *arguments, "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        return (done.stderr.strip().splitlines() or ["no word"])[-1]
    return json.loads((out / "cut-script.json").read_text(encoding="utf-8"))


def plan_and_judge(
    kind: str, seed: int, arguments: list[str], folder: Path, error: float
) -> tuple[dict, Verdict] | str:
    """The script and the verdict on it, or the command's one line of error."""
    log = true_log(kind, seed)
    card, scan = scanned(log, seed, folder, error)
    script = run(folder / "plan", "plan", card, *arguments)
    return script if isinstance(script, str) else (script, judge(script, log, scan.truth_to_scan))


def row(name: str, script: dict, verdict: Verdict, seconds: float) -> str:
    """One line of the table."""
    causes = collections.Counter(b.what for b in verdict.losses)
    hard = collections.Counter(b.what for b in verdict.hard)
    ratio = script["practice"]["ratio"]
    return (
        f"{name:14} {verdict.claimed_volume / 1e6:7.2f} {verdict.true_volume / 1e6:7.2f} {verdict.ratio:6.3f} "
        f"{ratio if ratio is None else round(ratio, 2)!s:>6} {seconds:5.0f} s  hard {dict(hard)}  lost {dict(causes)}"
    )


def main() -> None:
    """Plan, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", nargs="+", default=list(KINDS))
    parser.add_argument("--seeds", nargs="+", type=int, default=[101])
    parser.add_argument("--effort", default="coarse")
    parser.add_argument("--more", nargs="*", default=[], help="more of the command's arguments, without their dashes")
    parser.add_argument(
        "--marks",
        type=float,
        default=MARK_ERROR,
        help="how far off the pith marks are, per axis; one standard deviation, mm",
    )
    chosen = parser.parse_args()
    claimed = true = 0.0
    for kind in chosen.kinds:
        for seed in chosen.seeds:
            start = time.perf_counter()
            with tempfile.TemporaryDirectory() as folder:
                arguments = ["--effort", chosen.effort, *("--" + one for one in chosen.more)]
                found = plan_and_judge(kind, seed, arguments, Path(folder), chosen.marks)
            name = f"{kind}-{seed}"
            if isinstance(found, str):
                print(f"{name:14} {found}", flush=True)
                continue
            script, verdict = found
            claimed, true = claimed + verdict.claimed_volume, true + verdict.true_volume
            print(row(name, script, verdict, time.perf_counter() - start), flush=True)
    if claimed:
        print(f"all: true to claimed {true / claimed:.3f}")


if __name__ == "__main__":
    main()
