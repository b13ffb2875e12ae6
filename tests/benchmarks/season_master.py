"""The master alone, on invented columns: gap and time, beside HiGHS on the same programme (scipy.optimize.milp).

From the clone's root: `python tests/benchmarks/season_master.py` for 200 logs × 20 plans × 60 orders, seeds 1 to 3;
`--logs 10000 --plans 5 --orders 300 --no-milp` for a large yard. Seconds are of the processor (all threads), with the wall's beside.
HiGHS is given as many seconds as the master's processor took, `--milp-share` times over.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.yard.season.accounts import account
from pithline.yard.season.master import MasterEffort, choose
from pithline.yard.season.model import Season
from pithline.yard.season.options import make_options
from pithline.yard.season.program import make_program
from season_columns import random_season


def by_highs(season: Season, seconds: float, gap: float) -> tuple[float, float]:
    """(objective, bound) of the whole programme by HiGHS, 1/100."""
    program = make_program(season, make_options(season))
    done = milp(
        -program.gain,
        constraints=[
            LinearConstraint(program.matrix, -np.inf, program.limit),
            LinearConstraint(program.balance, 0.0, 0.0),
        ],
        bounds=Bounds(0.0, program.upper),
        integrality=np.ones(len(program.gain)),
        options={"time_limit": seconds, "mip_rel_gap": gap},
    )
    found = 0.0 if done.x is None else -done.fun
    return found, np.inf if done.mip_dual_bound is None else -done.mip_dual_bound


def main() -> None:
    """Draw, choose, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=200)
    parser.add_argument("--plans", type=int, default=20)
    parser.add_argument("--orders", type=int, default=60)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--hours", type=float, default=None, help="a week; default as the logs need")
    parser.add_argument("--work", type=float, default=MasterEffort().work)
    parser.add_argument(
        "--milp-share", type=float, default=1.0, help="seconds for HiGHS, of the master's processor seconds"
    )
    parser.add_argument("--no-milp", action="store_true")
    chosen = parser.parse_args()
    hours = chosen.hours or max(30.0, 0.15 * chosen.logs)
    quantity = max(4, round(0.6 * chosen.logs * 30 / chosen.orders / 3))
    print("seed  profit      bound       gap      logs  CPU s  wall s  | HiGHS profit  bound       gap     CPU s")
    for seed in chosen.seeds:
        season = random_season(
            seed,
            chosen.logs,
            chosen.plans,
            chosen.orders,
            hours=hours,
            matched=min(0.15, 10 / chosen.orders),
            quantity=quantity,
        )
        cpu, wall = time.process_time(), time.perf_counter()
        found = choose(season, MasterEffort(work=chosen.work))
        cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
        books = account(season, found)
        assert books.counted == found.objective
        line = f"{seed:4}  {found.objective / 100:10.2f}  {found.bound / 100:10.2f}  {found.gap:7.3%}  "
        line += f"{len(found.sawn):4}  {cpu:5.1f}  {wall:6.1f}"
        if not chosen.no_milp:
            start = time.process_time()
            objective, bound = by_highs(season, max(chosen.milp_share * cpu, 1.0), 1e-3)
            gap = (bound - objective) / bound if np.isfinite(bound) else 1.0
            line += f"  | {objective / 100:10.2f}  {bound / 100:10.2f}  {gap:7.3%}  {time.process_time() - start:5.1f}"
        print(line, flush=True)
    print(f"greatest memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20:.2f} GiB")


if __name__ == "__main__":
    main()
