"""Plans against practice whose bolts are fanned optimally: the yardstick of the search itself, the model known.

From the clone's root: `python tests/benchmarks/plan_marks.py --logs 24 --effort coarse --limits normal strict`
Logs of every kind the generator knows, their inside known without error; guitar backs and sides of two sizes. A row a log:
judged volume less 0.2 L a charged setting, over the practice layout with optimally fanned bolts, uncharged, the log sawn whole
(and, beside it, sawn in halves). The judge replays each script on the true log.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.plan.columns.candidates import BoltPlace
from pithline.plan.columns.laid_columns import BoltChoices, ColumnEvaluator, bolt_choices
from pithline.plan.problem.objective import Objective, ObjectiveWeights
from pithline.plan.programmes.tables import build_tables, find_passing_places, solve_tables

from pithline.errors import PithlineError
from pithline.files.cards import card_as_read, card_from
from pithline.files.mills import mill_as_read, mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_as_read, products_from
from pithline.plan.api import EFFORTS
from pithline.plan.evaluate.practice import practice_layout
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.execute.simulate import DrawnPoser, execute_layout
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import COARSE, Effort
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, Reserve, plan_log
from pithline.plan.problem.parts import sawn_parts
from pithline.plan.problem.task import SawingTask
from pithline.yard.one_log import plan_model
from pithline.yard.request import Inputs, Request
from truth.judge import judge
from truth.logs import KINDS, TrueLog, true_log
from truth.models import to_model

LIMITS = {"normal": (60.0, 75.0, 3.0), "strict": (75.0, 82.0, 1.5)}
CARD = """[log]
id = "w"
species = "black walnut"
[ends]
trim_butt = "25 mm"
trim_top = "25 mm"
[pith]
radius = "20 mm"
butt = { xyz = [0, 0, 0] }
top = { xyz = [0, 0, 0] }
[bark]
thickness = "9 mm"
"""
PRODUCTS = """[limits.trade]
ring_angle_min_deg = %g
ring_angle_mean_deg = %g
runout_max_deg = %g
[[product]]
name = "large"
price = 180
[[product.part]]
name = "back"
count = 2
length = "610 mm"
width = "227 mm"
thickness = "5 mm"
[[product.part]]
name = "side"
count = 2
length = "890 mm"
width = "134 mm"
thickness = "4.5 mm"
[[product]]
name = "small"
price = 150
[[product.part]]
name = "back"
count = 2
length = "610 mm"
width = "206 mm"
thickness = "5 mm"
[[product.part]]
name = "side"
count = 2
length = "880 mm"
width = "116 mm"
thickness = "4.5 mm"
"""
SMALL_PARTS = """[[product]]
name = "fingerboard"
price = 12
demand = 12
[[product.part]]
name = "fingerboard"
count = 1
length = "560 mm"
width = "76 mm"
thickness = "10 mm"
[[product]]
name = "bridge"
price = 5
demand = 12
[[product.part]]
name = "bridge"
count = 1
length = "200 mm"
width = "45 mm"
thickness = "12 mm"
"""
CHARGE = 0.2e6


def inputs_of(limits: str, small: bool) -> Inputs:
    """Card, mill with a charge of 0.2 L and kerfs of the bundled one, products under the limits."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "w.toml").write_text(CARD, encoding="utf-8")
        Path(folder, "p.toml").write_text(PRODUCTS % LIMITS[limits] + (SMALL_PARTS if small else ""), encoding="utf-8")
        card_read = card_as_read(Path(folder, "w.toml"))
        products_read = products_as_read(Path(folder, "p.toml"))
    mill_read = mill_as_read(None)
    # a mill that takes the big logs too: the yardstick is of the search, not of one mill's reach
    table = {**mill_read["mill"], "least_gain_per_setting": CHARGE, "log_diameter_max": 1000.0, "throat": 700.0}
    table |= {"guide_opening": 1050.0, "blade_max": 1100.0, "log_length_max": 4000.0}
    mill_read = {**mill_read, "mill": table}
    read = (card_from(card_read), mill_from(mill_read), products_from(products_read), read_practice(None))
    return Inputs(*read, card_read, mill_read, products_read, "0" * 64, "0" * 64)


def fanned_practice(log: PlanLog, shop: SawingTask, sizes, effort: Effort) -> float:
    """Practice slabs at the scanned roll, every bolt fanned as well as the search can, uncharged. [mm³]"""
    machines = shop.machines
    weights = ObjectiveWeights(Objective.VOLUME.worth(shop.parts), 0.0)
    context = SearchContext(shop, Objective.VOLUME, effort)
    state = solve_tables(build_tables(log, shop.parts, weights, context, find_passing_places(log, context)))
    evaluator = ColumnEvaluator(log, shop, 1.0)
    kerf, rolls, faces = machines.mill.kerf, state.tables.grid.rolls, state.tables.faces

    def face(half_thickness: float) -> int:
        beyond = np.flatnonzero(faces >= half_thickness + kerf - 1e-6)
        return int(beyond[0]) if len(beyond) else len(faces) - 1

    centre, half = face(sizes.centre_slab / 2), face(sizes.half_slab / 2)
    base = practice_layout(sizes, (0, 0, 0, 0))
    whole = evaluator.yields(LayoutSetting(0.0, base.slabs), log.piece)
    halves = []
    for turn, piece, setting in ((0, whole.above, base.above), (rolls, whole.below, base.below)):
        assert setting is not None
        slabs = (LayoutSlab(-sizes.half_slab / 2, sizes.half_slab),)
        clock = state.tables.grid.roll(turn + rolls // 2)
        got = evaluator.yields(LayoutSetting(clock, slabs, role="half"), piece)
        places = (
            BoltPlace(turn % (2 * rolls), rolls // 2, half, centre),
            BoltPlace((turn - rolls // 2) % (2 * rolls), rolls // 2, centre, half),
        )
        upper = bolt_choices(state, evaluator, got.above, places[0])
        lower = bolt_choices(state, evaluator, got.below, places[1])
        halves.append(LayoutSetting(clock, slabs, best_of(upper, shop), best_of(lower, shop), "half"))
    layout = LayoutSetting(0.0, base.slabs, halves[0], halves[1], "log")
    ledger = execute_layout(log, layout, shop, DrawnPoser(log, kerf), reserve=False)
    return sum(plate.volume for plate in ledger.passing)


def best_of(columns: BoltChoices, shop: SawingTask) -> LayoutSetting | None:
    """The fullest of a bolt's fans."""
    if not columns.columns:
        return None
    return max(columns.columns, key=lambda c: float(np.dot(c.plates, shop.worth))).setting


def bent(truth: TrueLog) -> bool:
    """Sweep, or crook, of 2 % of the length or more."""
    x = np.linspace(0.0, truth.length, 60)
    line = truth.pith(x)
    chord = line[0] + (line[-1] - line[0]) * (x / truth.length)[:, None]
    return bool(np.linalg.norm(line - chord, axis=1).max() >= 0.02 * truth.length)


def row(truth: TrueLog, limits: str, effort: str, small: bool) -> dict | str:
    """Figures of one log under one limit list, or why there are none."""
    inputs = inputs_of(limits, small)
    model = replace(to_model(truth), bark_assumed=False)
    log = plan_log(model, 20.0, 25.0, 25.0, (), Reserve(0.0, 0.0))
    parts = sawn_parts(inputs.products, "black walnut")
    worth = np.array([p.volume / 1e6 for p in parts])
    left = np.array([np.inf if p.demand is None else p.demand for p in parts])
    shop = SawingTask(inputs.machines, parts, worth, left)
    start = time.process_time()
    try:
        script = plan_model(model, inputs, Request(effort=EFFORTS[effort], samples=2))
    except PithlineError as error:
        return str(error)
    seconds = time.process_time() - start
    whole = fanned_practice(log, shop, inputs.practice, COARSE)
    halves = crosscut_log(log, (log.reach / 2,), inputs.machines.buck.kerf, 0.0)[1]
    halved = sum(fanned_practice(one, shop, inputs.practice, COARSE) for one in halves)
    verdict = judge(script, truth)
    net = verdict.true_volume - CHARGE * script["totals"]["settings"]
    proof = script["proof"]
    columns = proof["objective"] + CHARGE * script["totals"]["settings"]
    return {
        "net": net / 1e6,
        "ratio": net / whole if whole > 0 else np.inf,
        "halved": net / halved if halved > 0 else np.inf,
        "true": verdict.ratio,
        "grid": 1.0 - verdict.claimed_volume / columns,
        "gap": proof["gap"],
        "settings": script["totals"]["settings"],
        "hard": len(verdict.hard),
        "seconds": seconds,
    }


def main() -> None:
    """Print a row a log and the geometric means."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=22)
    parser.add_argument("--first-seed", type=int, default=301)
    parser.add_argument("--effort", default="coarse")
    parser.add_argument("--limits", nargs="+", default=["normal", "strict"])
    parser.add_argument("--kinds", nargs="+", default=list(KINDS))
    parser.add_argument("--small", action="store_true", help="small parts too")
    chosen = parser.parse_args()
    done: dict[tuple[str, bool], list[dict]] = {}
    for n in range(chosen.logs):
        kind, seed = chosen.kinds[n % len(chosen.kinds)], chosen.first_seed + n // len(chosen.kinds)
        truth = true_log(kind, seed)
        for limits in chosen.limits:
            found = row(truth, limits, chosen.effort, chosen.small)
            name = f"{kind}-{seed} {limits}"
            if isinstance(found, str):
                print(f"{name:22} {found}", flush=True)
                continue
            print(
                f"{name:22} net {found['net']:6.1f} L  ratio {found['ratio']:5.2f}  to halves {found['halved']:5.2f}  "
                f"true {found['true']:.3f}  grid loss {found['grid']:6.1%}  gap {found['gap']:6.1%}  "
                f"settings {found['settings']:3d}  hard {found['hard']}  {found['seconds']:.0f} CPU s",
                flush=True,
            )
            if np.isfinite(found["ratio"]) and found["ratio"] > 0:
                done.setdefault((limits, bent(truth)), []).append(found)
    for (limits, crooked), rows in sorted(done.items()):
        ratio = float(np.exp(np.mean([np.log(one["ratio"]) for one in rows])))
        halved = [np.log(one["halved"]) for one in rows if np.isfinite(one["halved"]) and one["halved"] > 0]
        print(
            f"{limits}, {'bent' if crooked else 'straight'}: {len(rows)} logs, ratio {ratio:.3f}, to practice in halves "
            f"{float(np.exp(np.mean(halved))) if halved else np.nan:.3f}, grid loss {np.mean([r['grid'] for r in rows]):.1%}, "
            f"gap {np.mean([r['gap'] for r in rows]):.1%}, true/claimed {np.mean([r['true'] for r in rows]):.3f}"
        )


if __name__ == "__main__":
    main()
