"""Which few cradles serve best: what logs give on the search grid by sets of cradle angles, and by any angle.

From the clone's root: `python tests/benchmarks/cradle_angles.py --logs 8`
Logs are those of plan_gaps.py, sawn whole where the mill takes them; their inside is known without error. A row a log; figures are the
best layout found, net of charges, as a share of that by any angle, and its distinct set-ups of bolts.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.plan_gaps import FIRST_SEED, inputs_of
from pithline.plan.api import COARSE, Objective, price_start
from pithline.plan.crosscut_search import CrosscutWay
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.layout import settings_of
from pithline.plan.search import search_seen, see_way
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request
from truth.logs import KINDS, true_log
from truth.models import to_model

SETS = ((30.0,), (45.0,), (15.0, 45.0), (30.0, 45.0), (15.0, 30.0, 45.0), (15.0, 30.0, 45.0, 60.0))


def classes_of(on_mill: bool, least_flat: float) -> list[BoltClass]:
    """A class of bolts by each set of cradles, and by any angle."""
    named = [BoltClass(" ".join(f"{a:g}" for a in angles), angles) for angles in SETS]
    every = [*named, BoltClass("any", (15.0, 30.0, 45.0), any_angle=True)]
    return [replace(one, on_mill=on_mill, least_flat=least_flat) for one in every]


def main() -> None:
    """Search and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--logs", type=int, default=8)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    chosen = parser.parse_args()
    inputs = inputs_of([], no_demand=False)
    names = [one.name for one in classes_of(False, 0.0)]
    print("log             " + "".join(f"{name:>16}" for name in names))
    shares = []
    for n in range(chosen.logs):
        truth = true_log(KINDS[n % len(KINDS)], chosen.first_seed + n)
        own = prepare_log(replace(to_model(truth), bark_assumed=False), inputs)
        context = own.case(Request(Objective.SETS, COARSE)).context
        way = CrosscutWay((), (own.log,), 0.0, price_start(context.economics))
        seen = see_way(way, context)
        mill = context.machines.mill
        least = max(mill.blade_min, mill.clamp_room) + mill.kerf / 2.0 if seen.on_mill else 0.0
        row, ups = [], []
        for bolts in classes_of(seen.on_mill, least):
            found, _ = search_seen(own.log, seen, context, [bolts])
            if found:  # the next class begins where this one came to rest
                seen = replace(seen, way=replace(seen.way, prices=found[0].prices))
            best = max(found, key=lambda one: one.value, default=None)
            row.append(0.0 if best is None else best.value)
            layouts = () if best is None else best.log_layout.layouts
            ups.append(len({one.clock for layout in layouts for one in settings_of(layout) if one.role == "bolt"}))
        shares.append(np.array(row) / max(row[-1], 1e-9))
        print(
            f"{truth.name:16}" + "".join(f"{s:10.3f} {u:3d}  " for s, u in zip(shares[-1], ups, strict=True)),
            flush=True,
        )
    print(f"{'mean':16}" + "".join(f"{s:10.3f}      " for s in np.mean(shares, axis=0)))


if __name__ == "__main__":
    main()
