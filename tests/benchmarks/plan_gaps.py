"""How far the best layout found lies below the bound of its class: the search alone, the log's inside known without error.

From the clone's root: `python tests/benchmarks/plan_gaps.py --logs 12 --effort coarse --objectives sets value volume`
Logs of every kind the generator knows, seeds that no test holds; the bundled mill, widened for the big ones, and the bundled products,
demand and all. A row a log and objective: value on the grid, bound, gap, CPU seconds, and how many of each set.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.errors import PithlineError
from pithline.files.mills import mill_from
from pithline.logmodel.dimensions import volume
from pithline.plan.api import EFFORTS, Objective, search_candidates
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Inputs, Request, read_inputs
from truth.logs import KINDS, true_log
from truth.models import to_model

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scans"
FIRST_SEED = 8201


def inputs_of(products: list[str], no_demand: bool) -> Inputs:
    """The bundled mill, widened so that it takes the big logs too, and products."""
    inputs = read_inputs(SAMPLES / "af-07.toml", None, products)
    table = {**inputs.mill_read["mill"], "log_diameter_max": 1000.0, "throat": 700.0, "guide_opening": 1050.0}
    table |= {"blade_max": 1100.0, "log_length_max": 4000.0}
    read = {**inputs.mill_read, "mill": table}
    card = replace(inputs.card, defects=(), figures=(), pith_radius=20.0, trim_butt=25.0, trim_top=25.0)
    made = replace(inputs, mill_read=read, machines=mill_from(read), card=card)
    if no_demand:
        products_all = tuple(replace(one, demand=None) for one in made.products.products)
        made = replace(made, products=replace(made.products, products=products_all))
    return made


def row(name: str, model, inputs: Inputs, objective: str, effort: str) -> float | None:
    """Print one log under one objective; its gap."""
    own = prepare_log(model, inputs)
    context = own.case(Request(Objective(objective), EFFORTS[effort])).context
    start = time.process_time()
    try:
        found = search_candidates(own.log, context)
    except PithlineError as error:
        print(f"{name:16} {objective:7} {error}", flush=True)
        return None
    seconds = time.process_time() - start
    best = max(found, key=lambda one: one.value)
    gap = (best.bound - best.value) / best.bound
    litres = volume(own.log.model) / 1e6
    unit = context.objective.unit / 1e6 if not context.objective.in_money else 1.0
    print(
        f"{name:16} {objective:7} {litres:6.0f} L  value {best.value * unit:8.1f}  bound {best.bound * unit:8.1f}  "
        f"gap {gap:5.1%}  {seconds:5.0f} s",
        flush=True,
    )
    return gap


def main() -> None:
    """Search and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--logs", type=int, default=12)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--effort", default="coarse", choices=tuple(EFFORTS))
    parser.add_argument("--objectives", nargs="+", default=["sets", "value"])
    parser.add_argument("--products", nargs="+", default=[])
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=KINDS)
    parser.add_argument("--no-demand", action="store_true")
    chosen = parser.parse_args()
    inputs = inputs_of(chosen.products, chosen.no_demand)
    for objective in chosen.objectives:
        gaps = []
        for n in range(chosen.logs):
            truth = true_log(chosen.kinds[n % len(chosen.kinds)], chosen.first_seed + n)
            model = replace(to_model(truth), bark_assumed=False)
            gaps.append(row(truth.name, model, inputs, objective, chosen.effort))
        some = [gap for gap in gaps if gap is not None]
        print(f"{objective}: {len(some)} logs, gap {np.mean(some):.1%} on average, {max(some):.1%} at most", flush=True)


if __name__ == "__main__":
    main()
