"""How often the span a plan states holds the truth: logs scanned by half, planned once each, judged on the whole true log.

From the clone's root: `python tests/benchmarks/fit_spans.py --logs 12`
Small logs, in turn of four generated kinds and of those as uneven as real stems, 150 to 180° of their girth hidden. Prints a row a log:
litres planned, litres true, p10, p50 and p90 as stated; then the share of logs whose truth lies from p10 to p90, with its sampling error.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from hold import run

from truth.grown import grown_log
from truth.judge import judge
from truth.logs import TrueLog, true_log
from truth.scans import card_text, marked_off, simulate_scan, write_binary_ply

SMALL_KINDS = ("slim", "stubs", "flared", "swept")
HIDDEN_DEG = (150.0, 180.0)


def logs(first: int, most: float) -> Iterator[tuple[int, TrueLog]]:
    """Seeds and logs of no more than so many litres, every second one as uneven as real stems; without end."""
    plain = ((seed, true_log(kind, seed)) for seed in range(first, first + 10_000) for kind in SMALL_KINDS)
    grown = ((seed, grown_log(seed)) for seed in range(first, first + 10_000))
    small = [((seed, log) for seed, log in source if log.volume_under_bark() < most * 1e6) for source in (plain, grown)]
    while True:
        for source in small:
            yield next(source)


def planned(seed: int, log: TrueLog, effort: str) -> dict[str, float] | str:
    """Litres planned, true and stated of one log scanned by half, or the command's one line of error."""
    rng = np.random.default_rng([79, seed, *log.name.encode()])
    yard = {
        "hidden_deg": float(rng.uniform(*HIDDEN_DEG)),
        "heading_deg": float(rng.uniform(0.0, 360.0)),
        "ridges": float(rng.uniform(2.0, 4.0)),
    }
    scan, _ = marked_off(log, simulate_scan(log, seed, points=60_000, **yard), rng)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_binary_ply(folder / "log.ply", scan.points)
        (folder / "log.toml").write_text(card_text(log, scan, "log.ply"), encoding="utf-8")
        script = run(folder / "plan", "plan", str(folder / "log.toml"), "--effort", effort)
    if isinstance(script, str):
        return script
    verdict, span = judge(script, log, scan.truth_to_scan), script["uncertainty"]["instrument_volume"]
    sizes = {"planned": verdict.claimed_volume, "true": verdict.true_volume, **span}
    return {key: 1e-6 * value for key, value in sizes.items()} | {"hard": float(len(verdict.hard))}


def main() -> None:
    """Plan, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=12)
    parser.add_argument("--first", type=int, default=700, help="seed of the first logs")
    parser.add_argument("--most", type=float, default=250.0, help="no larger logs than this, litres under bark")
    parser.add_argument("--effort", default="coarse")
    chosen = parser.parse_args()
    source = logs(chosen.first, chosen.most)
    rows = []
    for _ in range(chosen.logs):
        seed, log = next(source)
        before = _seconds()
        found = planned(seed, log, chosen.effort)
        size, seconds = 1e-6 * log.volume_under_bark(), _seconds() - before
        if isinstance(found, str):
            print(f"{log.name:12} {size:5.0f} L  {found}", flush=True)
            continue
        rows.append(found)
        place = "below" if found["true"] < found["p10"] else "above" if found["true"] > found["p90"] else "within"
        print(
            f"{log.name:12} {size:5.0f} L  planned {found['planned']:6.2f}  true {found['true']:6.2f}  p10 {found['p10']:6.2f}  "
            f"p50 {found['p50']:6.2f}  p90 {found['p90']:6.2f}  {place:6}  hard {found['hard']:.0f}  {seconds:4.0f} CPU s",
            flush=True,
        )
    if not rows:
        return
    true, low, middle, high = (np.array([row[key] for row in rows]) for key in ("true", "p10", "p50", "p90"))
    held = float(np.mean((true >= low) & (true <= high)))
    error = float(
        np.sqrt((held + 2 / len(rows)) * (1 - held + 2 / len(rows)) / (len(rows) + 4))
    )  # never nought, as of few
    print(
        f"\nwithin p10 to p90: {100 * held:.0f} % of {len(rows)} ± {100 * error:.0f}; below {np.sum(true < low)}, above "
        f"{np.sum(true > high)}; true over p50: {true.sum() / middle.sum():.3f}; span over p50: {(high - low).sum() / middle.sum():.3f}"
    )


def _seconds() -> float:
    """CPU seconds of this process and of those it has run."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in both)


if __name__ == "__main__":
    main()
