"""What plans sell: sets, earnings, hours, set-ups, lines to draw, pages, and what the true log keeps of it all.

From the clone's root, in a folder of your choice (here `runs`):

    python tests/benchmarks/sold.py logs runs --unseen 12
    python tests/benchmarks/sold.py plan runs after
    python tests/benchmarks/sold.py plan runs before --command "OTHER/bin/pithline" --more "--objective sets"
    python tests/benchmarks/sold.py table runs before after

`logs` writes cards and scans of the three samples and of generated logs that no test holds. `plan` runs a command on each of them.
`table` prints a row a log and run. Hours of every run are counted by the mill file of the last run named, so that a plan made before
minutes a cut were known is not the cheaper for it; plates in no set are priced as that run's products say.
"""

from __future__ import annotations

import argparse
import json
import re
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from truth.judge import Verdict, judge
from truth.logs import TrueLog, true_log
from truth.samples import sample_scan, sample_truth
from truth.sawn_off import sawn_off
from truth.scans import card_text, marked_off, simulate_scan, write_binary_ply

SAMPLES = ("af-07", "af-12", "af-15")
KINDS = (
    "round",
    "eccentric",
    "oval",
    "flared",
    "tapered",
    "swept",
    "stubs",
    "slim",
    "fluted",
    "big",
    "crooked",
    "round",
)
FIRST_SEED = 7101
SAWINGS = 3
"""Times a plan is sawn with faces off, for the share that it keeps."""


def unseen(count: int) -> list[TrueLog]:
    """Generated logs, a kind after the other."""
    return [true_log(KINDS[i % len(KINDS)], FIRST_SEED + i) for i in range(count)]


def scan_of(log: TrueLog, number: int):
    """The scan of a generated log, marks off as people make them."""
    seed = FIRST_SEED + number
    return marked_off(log, simulate_scan(log, seed), np.random.default_rng(seed))[0]


def write_logs(folder: Path, count: int) -> None:
    """Cards and scans of samples and generated logs."""
    folder.mkdir(parents=True, exist_ok=True)
    root = Path(__file__).resolve().parents[2] / "sample_scans"
    for name in SAMPLES:
        for end in ("toml", "ply"):
            shutil.copy(root / f"{name}.{end}", folder)
    for number, log in enumerate(unseen(count)):
        scan = scan_of(log, number)
        write_binary_ply(folder / f"{log.name}.ply", scan.points)
        (folder / f"{log.name}.toml").write_text(card_text(log, scan, f"{log.name}.ply"), encoding="utf-8")


def plan_all(folder: Path, run: str, command: str, more: str) -> None:
    """Run a command on every card; what it took stands beside its plan."""
    for card in sorted(folder.glob("*.toml")):
        if card.stem == "products":
            continue
        out = folder / run / card.stem
        if (out / "cut-script.json").exists():
            continue
        start = time.perf_counter()
        words = [*shlex.split(command), "plan", str(card), "--out", str(out), *shlex.split(more)]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        seconds = time.perf_counter() - start
        if done.returncode:
            print(card.stem, (done.stderr.strip().splitlines() or ["no word"])[-1], flush=True)
            continue
        (out / "seconds.txt").write_text(f"{seconds:.0f}", encoding="utf-8")
        print(card.stem, f"{seconds:.0f} s", flush=True)


def truths(folder: Path) -> dict[str, tuple[TrueLog, np.ndarray]]:
    """The true log of every card, and the motion to its scan."""
    found = {name: (sample_truth(name), sample_scan(name).truth_to_scan) for name in SAMPLES}
    count = len(list(folder.glob("*.toml")))
    for number, log in enumerate(unseen(count)):
        if (folder / f"{log.name}.toml").exists():
            found[log.name] = (log, scan_of(log, number).truth_to_scan)
    return found


def hours_of(script: dict, mill: dict) -> float:
    """Hours of a script by a mill file's minutes: those written, with what that file adds a setting, a cut and a log."""
    own = script["inputs"]["mill"]
    minutes, seen = mill["mill"].get("minutes_per_log", 0.0), set()
    for op in script["operations"]:
        table, before = mill.get(op["tool"], {}), own.get(op["tool"], {})
        if op["op"] == "cut":
            minutes += (table.get("minutes_per_cut") or 0.0) - (before.get("minutes_per_cut") or 0.0)
            continue
        minutes += op["minutes"]
        if op["charged"] and op.get("set_up") not in seen:
            minutes += (table.get("minutes_per_setting") or 0.0) - (before.get("minutes_per_setting") or 0.0)
        seen.add(op.get("set_up"))
    return minutes / 60.0


def pages(out: Path) -> int:
    """Printed pages that a plan's folder asks one to read at the saws: sheet and shop cards, without labels and templates."""
    found = 0
    for name in ("set-up-sheet.pdf", "shop-cards.pdf"):
        if (out / name).exists():
            found += len(re.findall(rb"/Type\s*/Page\b(?!s)", (out / name).read_bytes()))
    return found


def row(name: str, run: str, folder: Path, script: dict, mill: dict, verdict: Verdict, kept: float) -> str:
    """One line of the table."""
    totals, proof = script["totals"], script["proof"]
    sets = " ".join(f"{n} {product}" for product, n in totals["sets"].items() if n)
    in_sets = sum(p["volume"] for p in script["plates"] if p["passes"] and p["set_id"])
    hours = hours_of(script, mill)
    loose = totals.get("loose_value", 0.0)
    earnings = totals["value"] + loose - hours * mill["mill"].get("hour_rate", 0.0)
    settings = [op for op in script["operations"] if op["op"] == "setting"]
    marked = {op["id"] for op in settings if "marks" in op}
    lines = sum(op["op"] == "cut" and op["setting"] in marked for op in script["operations"])
    set_ups = len({op.get("set_up", op["id"]) for op in settings if op["charged"]})
    gap = proof["gap"]
    seconds = (folder / "seconds.txt").read_text() if (folder / "seconds.txt").exists() else "-"
    return (
        f"{name:15} {run:7} {earnings:8.0f} {in_sets / 1e6:7.1f} {hours:5.1f} {set_ups:4d} {lines:4d} {pages(folder):4d} "
        f"{'-' if gap is None else f'{gap:.1%}':>6} {verdict.ratio:6.3f} {kept:6.3f} {len(verdict.hard):3d} {seconds:>5}  {sets}"
    )


def table(folder: Path, runs: list[str]) -> None:
    """A row a log and run, and sums of each run."""
    print("log             run     earnings in sets hours  ups line page    gap   true   kept bad  secs  sets")
    sums: dict[str, list[float]] = {run: [] for run in runs}
    for name, (truth, motion) in truths(folder).items():
        found = {run: folder / run / name / "cut-script.json" for run in runs}
        if not all(path.exists() for path in found.values()):
            print(f"{name:15} no plan by {', '.join(run for run, path in found.items() if not path.exists())}")
            continue
        scripts = {run: json.loads(path.read_text(encoding="utf-8")) for run, path in found.items()}
        mill = scripts[runs[-1]]["inputs"]["mill"]
        for run, script in scripts.items():
            verdict = judge(script, truth, motion)
            kept = [judge(sawn_off(script, seed), truth, motion).ratio for seed in range(SAWINGS)]
            line = row(name, run, folder / run / name, script, mill, verdict, float(np.mean(kept)))
            sums[run].append(float(line.split()[2]))
            print(line, flush=True)
    for run, earned in sums.items():
        print(f"{run}: earnings {sum(earned):.0f} of {len(earned)} logs")


def main() -> None:
    """Make logs, plan them, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("logs", "plan", "table"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("runs", nargs="*", default=[])
    parser.add_argument("--unseen", type=int, default=12)
    parser.add_argument("--command", default=f"{sys.executable} -m pithline.cli.main")
    parser.add_argument("--more", default="")
    chosen = parser.parse_args()
    if chosen.what == "logs":
        write_logs(chosen.folder, chosen.unseen)
    elif chosen.what == "plan":
        plan_all(chosen.folder, chosen.runs[0], chosen.command, chosen.more)
    else:
        table(chosen.folder, chosen.runs)


if __name__ == "__main__":
    main()
