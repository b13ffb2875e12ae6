"""What planning anew is worth: generated logs whose pith leaves the line between its marks, opened, looked at, planned anew.

From the clone's root: `python tests/benchmarks/replan_marks.py --kinds round oval --bow 14`
Each log is scanned and planned with its pith marked at both ends; between them it bows by so much, which nobody sees. After
the second cut the pith is read on the faces at three stations, to two millimetres, and the rest is planned anew. Both scripts
are judged on the true log: litres that pass, sawn by the first plan to the end and by the new one.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from hold import run, scanned

from truth.hidden import Wandering, wandering
from truth.judge import judge
from truth.logs import KINDS, TrueLog, true_log
from truth.scans import Scan

AFTER = 2
READ = 2.0
"""Error of reading the pith on a face, each way. [mm]"""


def bowed(log: TrueLog, bow: float, seed: int) -> Wandering:
    """The log with its pith off the line between its ends by `bow` mm at mid-length, some way round."""
    way = np.random.default_rng([seed, 3]).uniform(0.0, 2.0 * np.pi)
    return wandering(log, (bow * np.cos(way), bow * np.sin(way)))


def seen(log: Wandering, straight: TrueLog, scan: Scan, script: dict, rng: np.random.Generator) -> str:
    """The file that says where the pith was found, against where the plan had it: on the line between its marks."""
    turn = (np.array(script["log"]["scan_to_log"], float) @ scan.truth_to_scan)[:3, :3]
    lines = []
    for share in (0.25, 0.5, 0.75):
        x = np.array(share * log.length)
        _, y, z = turn @ np.concatenate([[0.0], log.pith(x) - straight.pith(x)]) + rng.normal(0.0, READ, 3)
        lines.append(f'[[pith.seen]]\nx = "{float(x):.0f} mm"\nup = "{z:.1f} mm"\nright = "{-y:.1f} mm"\n')
    return "\n".join(lines)


def row(kind: str, seed: int, bow: float, effort: str, folder: Path) -> str:
    """One line of the table."""
    straight = true_log(kind, seed)
    log = bowed(straight, bow, seed)
    card, scan = scanned(log, seed, folder)
    first = run(folder / "plan", "plan", card, "--effort", effort)
    if isinstance(first, str):
        return first
    found = folder / "found.toml"
    found.write_text(seen(log, straight, scan, first, np.random.default_rng([seed, 4])), encoding="utf-8")
    cut = [one["id"] for one in first["operations"] if one["op"] == "cut"][AFTER - 1]
    told = ["--after", cut, "--found", str(found), "--effort", effort]
    anew = run(folder / "anew", "replan", str(folder / "plan" / "cut-script.json"), *told)
    if isinstance(anew, str):
        return anew
    old, new = (judge(one, log, scan.truth_to_scan) for one in (first, anew))
    return (
        f"claimed {old.claimed_volume / 1e6:6.1f} L, true {old.true_volume / 1e6:6.1f}  |  anew claimed "
        f"{new.claimed_volume / 1e6:6.1f}, true {new.true_volume / 1e6:6.1f}  gain {new.true_volume / max(old.true_volume, 1.0) - 1:+.1%}  "
        f"hard {len(old.hard)}, {len(new.hard)}"
        + "".join(f"; {one.what} {one.where} {one.much:.1f}" for one in new.hard)
    )


def main() -> None:
    """Plan, open, plan anew, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kinds", nargs="+", default=list(KINDS))
    parser.add_argument("--seed", type=int, default=401)
    parser.add_argument("--bow", type=float, default=14.0, help="of the pith, mm at mid-length")
    parser.add_argument("--effort", default="coarse")
    chosen = parser.parse_args()
    for kind in chosen.kinds:
        with tempfile.TemporaryDirectory() as folder:
            print(
                f"{kind}-{chosen.seed}: {row(kind, chosen.seed, chosen.bow, chosen.effort, Path(folder))}", flush=True
            )


if __name__ == "__main__":
    main()
