"""Small logs: what more candidates, and plans compared as they are sawn, are worth. One search a log, climbed without them and with them.

From the clone's root: `python tests/benchmarks/small_logs.py --objectives sets value --effort coarse`
Generated logs of up to 150 L that no test holds, scanned and fitted; bundled mill and lists. A row a log, objective and run: CPU seconds,
candidates, what the plan that pays is likely to be worth on the logs that it was chosen on and on 64 others, what its plates
come to on the true log, and with faces sawn off. Litres by sets, money by value, net of what settings or hours cost.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.logmodel.document import model_to_json
from pithline.plan.api import EFFORTS, SILENT, Judge, Objective, PlanCase, climb, plate_counts
from pithline.plan.evaluate.sampling import SampledPlates, sampled_logs
from pithline.plan.execute.ledger import Ledger
from pithline.yard.finalise import practice_beside
from pithline.yard.ladder_scripts import LadderScripts
from pithline.yard.one_log import fit_scan, ways_to_saw
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request, read_inputs
from pithline.yard.watch import PlanWatch
from truth.judge import judge
from truth.logs import TrueLog, true_log
from truth.sawn_off import sawn_off
from truth.scans import card_text, marked_off, simulate_scan, write_binary_ply

SAWINGS, SAMPLES, SEED = 3, 64, 90210


@dataclass(frozen=True)
class Small:
    """A generated log, cut to a length where that is given [mm], and the product list that it is sawn for."""

    kind: str
    seed: int
    length: float | None
    products: str

    @property
    def true(self) -> TrueLog:
        """Its truth."""
        whole = true_log(self.kind, self.seed)
        if self.length is None:
            return whole
        share = self.length / whole.length
        stubs = tuple(replace(one, x=one.x * share) for one in whole.stubs)
        return replace(whole, length=self.length, sweep=whole.sweep * share, stubs=stubs)


LOGS = (
    Small("slim", 6411, None, "guitar"),
    Small("slim", 6412, None, "ukulele"),
    Small("slim", 6413, None, "mandolin"),
    Small("slim", 6414, None, "small-parts"),
    Small("slim", 6415, None, "guitar"),
    Small("slim", 6416, None, "ukulele"),
    Small("round", 6413, 837.0, "mandolin"),
    Small("tapered", 6423, 851.0, "guitar"),
    Small("stubs", 6441, 900.0, "small-parts"),
    Small("eccentric", 6443, 849.0, "guitar"),
    Small("swept", 6456, 817.0, "ukulele"),
    Small("oval", 6464, 824.0, "guitar"),
    Small("slim", 6417, None, "guitar"),
    Small("slim", 6418, None, "mandolin"),
)


def kept_worth(case: PlanCase, ledger: Ledger, lost: set[str]) -> float:
    """What a plan comes to without the plates that are lost, by the case's objective, net of charges."""
    sold = case.context.economics
    passing = np.array([one.passes and one.id not in lost for one in ledger.plates], bool)
    return sold.market.worth(*plate_counts(ledger.plates, sold.kinds, passing).T)[0] - sold.charged(ledger.settings)


def rows(small: Small, objective: str, effort: str, folder: Path) -> None:
    """Print a log without and with what is asked of small logs alone."""
    truth = small.true
    scan = marked_off(truth, simulate_scan(truth, small.seed), np.random.default_rng(small.seed))[0]
    write_binary_ply(folder / f"{truth.name}.ply", scan.points)
    card = folder / f"{truth.name}.toml"
    card.write_text(card_text(truth, scan, f"{truth.name}.ply"), encoding="utf-8")
    inputs = read_inputs(card, None, [small.products])
    model = fit_scan(inputs)
    own, document = prepare_log(model, inputs), model_to_json(model)
    for run in ("before", "after"):
        asked = EFFORTS[effort] if run == "after" else replace(EFFORTS[effort], beside=0, closely=0)
        request, watch = Request(Objective(objective), asked), PlanWatch(SILENT, "")
        case, start = own.case(request), time.process_time()
        ways = ways_to_saw(own, case, request, watch)
        beside = practice_beside(ways.custom, own, document)
        ladder = climb(case, ways.candidates)
        script = LadderScripts(own, case, request, ways, document, beside).scripts(ladder, watch).script
        seconds = time.process_time() - start
        plan = next(
            one for one in ladder.rungs if [p.id for p in one.ledger.plates] == [p["id"] for p in script["plates"]]
        )
        other = Judge(case.context, SampledPlates(sampled_logs(case.log, SAMPLES, SEED), case.context.parts))
        seen = [
            judge(one, truth, scan.truth_to_scan) for one in (script, *(sawn_off(script, k) for k in range(SAWINGS)))
        ]
        true, *off = (kept_worth(case, plan.ledger, {p.id for p in one.plates if p.lost}) for one in seen)
        unit = 1.0 if case.context.objective.in_money else case.context.objective.unit / 1e6
        worth = [plan.likely, other.worth(plan.ledger), true, float(np.mean(off))]
        told = " ".join(f"{one * unit:8.2f}" for one in worth)
        kept = float(np.mean([one.ratio for one in seen[1:]]))
        print(
            f"{truth.name:15} {objective:6} {run:7} {seconds:5.1f} s {len(ways.candidates):3d} {told} "
            f"earns {plan.earnings or 0.0:7.1f} {seen[0].ratio:6.3f} {kept:6.3f} {len(seen[0].hard)}",
            flush=True,
        )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--objectives", nargs="+", default=["sets", "value"])
    parser.add_argument("--effort", default="coarse", choices=tuple(EFFORTS))
    parser.add_argument("--logs", type=int, nargs="+", help="numbers of the logs, from 0; all where none is named")
    chosen = parser.parse_args()
    print("log             by     run       CPU  of  likely   others     true  sawn off   earns    true  kept bad")
    with tempfile.TemporaryDirectory() as folder:
        for objective in chosen.objectives:
            for number in chosen.logs or range(len(LOGS)):
                rows(LOGS[number], objective, chosen.effort, Path(folder))


if __name__ == "__main__":
    main()
