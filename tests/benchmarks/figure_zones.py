"""What it is worth that a search sees the card's zones of figure: plans that do, beside plans that count figure once plates are sawn.

From the clone's root: `python tests/benchmarks/figure_zones.py --logs 2 --products ukulele`
Logs of every kind the generator knows, seeds that no test holds, their inside known without error; the middle third of each is figured.
Plans by value, coarse. A row a plan: earnings, sets with figure and all sets, plates with figure and all of the widest parts, CPU seconds.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import Any
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))


from pithline.errors import PithlineError
from pithline.plan.api import EFFORTS, Objective
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.parts import sawn_parts
from pithline.yard import prepared_log
from pithline.yard.one_log import plan_model
from pithline.yard.request import Inputs, Request
from small_plan import CARD, inputs_of
from truth.logs import KINDS, true_log
from truth.models import to_model

FIRST_SEED = 9601
PRODUCTS = Path(__file__).resolve().parents[2] / "configs" / "products"


def told(name: str, script: dict[str, Any], inputs: Inputs, seconds: float) -> float:
    """Print one plan; what it earns."""
    widest = {part.key for part in sawn_parts(inputs.products, inputs.card.species) if part.widest}
    plates = [one for one in script["plates"] if one["passes"] and (one["product"], one["part"]) in widest]
    sets: dict[str, float] = {}
    for one in plates:
        if one["set_id"] is not None:
            sets[one["set_id"]] = min(one.get("figure", 1.0), sets.get(one["set_id"], one.get("figure", 1.0)))
    dear, figured = sum(factor > 1.0 for factor in sets.values()), sum(one.get("figure", 1.0) > 1.0 for one in plates)
    earned = float(script["totals"]["earnings"])
    print(
        f"{name:26} earns {earned:7.0f}  sets with figure {dear:3} of {len(sets):3}  plates {figured:3} of {len(plates):3}  "
        f"{seconds:5.0f} s",
        flush=True,
    )
    return earned


def main() -> None:
    """Plan and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--logs", type=int, default=3)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--effort", default="coarse", choices=tuple(EFFORTS))
    parser.add_argument("--factor", type=float, default=2.5)
    parser.add_argument("--products", default="guitar", help="a bundled list")
    chosen = parser.parse_args()
    products = (PRODUCTS / f"{chosen.products}.toml").read_text(encoding="utf-8")
    request = Request(Objective.VALUE, EFFORTS[chosen.effort])
    for number in range(chosen.logs):
        log = true_log(KINDS[number % len(KINDS)], chosen.first_seed + number)
        zone = f'kind = "curl"\nfactor = {chosen.factor}\nfrom = "{log.length / 3.0:.0f} mm"\nto = "{log.length / 1.5:.0f} mm"\n'
        inputs = inputs_of(products, f"{CARD}[[figure]]\n{zone}")
        earned = []
        for words, kinds in (("seen", plate_kinds), ("not seen", lambda parts, *zones: plate_kinds(parts))):
            start = time.process_time()
            try:
                with patch.object(prepared_log, "plate_kinds", kinds):
                    script = plan_model(to_model(log), inputs, request).script
            except PithlineError as error:
                print(f"{log.name:16} {error}", flush=True)
                break
            earned.append(told(f"{log.name}, {words}", script, inputs, time.process_time() - start))
        if len(earned) == 2:
            print(f"{log.name:16} {earned[0] / earned[1]:5.2f} times", flush=True)


if __name__ == "__main__":
    main()
