"""How the time of a plan grows with the log's volume and with the number of products.

From the clone's root: `python tests/benchmarks/plan_growth.py --effort coarse`
Straight round logs, their inside known without error, all of the same slenderness; then one log under more and more sizes of guitar
backs and sides. A row a plan: processor seconds of the search and all that follows it up to the replayed script.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.plan_marks import inputs_of
from pithline.files.products import products_as_read, products_from
from pithline.plan.api import EFFORTS
from pithline.yard.one_log import plan_model
from pithline.yard.request import Inputs, Request
from truth.logs import TrueLog
from truth.models import to_model

SIZES = ((430.0, 1700.0), (540.0, 2140.0), (680.0, 2700.0), (860.0, 3400.0))
"""Diameter and length; each log holds twice the wood of the one before. [mm]"""
PRODUCTS = (1, 2, 4, 8)
ONE = """[[product]]
name = "size {n}"
price = 100
[[product.part]]
name = "back"
count = 2
length = "{back} mm"
width = "{width} mm"
thickness = "5 mm"
[[product.part]]
name = "side"
count = 2
length = "{side} mm"
width = "{narrow} mm"
thickness = "4.5 mm"
"""
LIMITS = """[limits.trade]
ring_angle_min_deg = 60
ring_angle_mean_deg = 75
runout_max_deg = 3
"""


def with_products(inputs: Inputs, count: int) -> Inputs:
    """The same card and mill with so many sizes of one instrument."""
    text = LIMITS + "".join(
        ONE.format(n=n, back=610 - 15 * n, width=227 - 12 * n, side=890 - 20 * n, narrow=134 - 8 * n)
        for n in range(count)
    )
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "p.toml").write_text(text, encoding="utf-8")
        read = products_as_read(Path(folder, "p.toml"))
    return replace(inputs, products=products_from(read), products_read=read)


def seconds_of(log: TrueLog, inputs: Inputs, effort: str) -> tuple[float, float]:
    """Processor seconds of one plan, and its litres."""
    model = replace(to_model(log), bark_assumed=False)
    start = time.process_time()
    script = plan_model(model, inputs, Request(effort=EFFORTS[effort]))
    return time.process_time() - start, script["totals"]["instrument_volume"] / 1e6


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--effort", default="coarse")
    chosen = parser.parse_args()
    inputs = inputs_of("normal", False)
    seconds_of(TrueLog("warm", 1000.0, 180.0), inputs, chosen.effort)
    first = None
    for across, length in SIZES:
        spent, litres = seconds_of(TrueLog("round", length, across / 2, taper=5.0), inputs, chosen.effort)
        first = first or spent
        volume = (across / 2) ** 2 * 3.1416 * length / 1e6
        print(
            f"{across:4.0f} mm × {length:4.0f} mm, {volume:5.0f} L: {spent:5.1f} CPU s, ×{spent / first:.2f}, {litres:.1f} L",
            flush=True,
        )
    first = None
    for count in PRODUCTS:
        log = TrueLog("round", SIZES[1][1], SIZES[1][0] / 2, taper=5.0)
        spent, litres = seconds_of(log, with_products(inputs, count), chosen.effort)
        first = first or spent
        print(
            f"{count} products, {2 * count} parts: {spent:5.1f} CPU s, ×{spent / first:.2f}, {litres:.1f} L", flush=True
        )


if __name__ == "__main__":
    main()
