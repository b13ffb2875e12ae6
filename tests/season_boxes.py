"""A yard of one small invented log, ordered as small boxes of two sides and a lid; the real work, done in this process."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pithline.yard.season.work import work
from truth.logs import true_log
from truth.scans import Yard, card_text, simulate_scan, write_binary_ply

LOG = "s-1"
PRODUCTS = """[limits.loose]
ring_angle_min_deg = 55
ring_angle_mean_deg = 65
runout_max_deg = 4
sapwood = "any"
[[product]]
name = "small box"
price = 60
limits = "loose"
[[product.part]]
name = "side"
count = 2
length = "300 mm"
width = "90 mm"
thickness = "6 mm"
[[product.part]]
name = "lid"
count = 1
length = "240 mm"
width = "70 mm"
thickness = "6 mm"
"""


class Near:
    """The real work, done in this process."""

    def __init__(self, *options) -> None:
        pass

    def __enter__(self):
        return self

    def __exit__(self, *what) -> None:
        pass

    def results(self, jobs):
        for job in jobs:
            yield job, work(job)


def make_yard_of_boxes(folder: Path, quantity: int, lid: str = "") -> None:
    """Scan, card, `logs.csv`, `products.toml` and `orders.csv` of so many boxes; `lid` are further keys of the lid."""
    log = replace(true_log("slim", 1), name=LOG, radius=135.0, length=740.0)
    scan = simulate_scan(log, 1, Yard(points=12_000, clutter=False, bearers=False))
    write_binary_ply(folder / f"{LOG}.ply", scan.points)
    (folder / f"{LOG}.toml").write_text(card_text(log, scan, f"{LOG}.ply"), encoding="utf-8")
    (folder / "logs.csv").write_text(f"card,cost\n{LOG}.toml,20\n", encoding="utf-8")
    (folder / "orders.csv").write_text(f"product,quantity\nsmall box,{quantity}\n", encoding="utf-8")
    (folder / "products.toml").write_text(PRODUCTS + lid, encoding="utf-8")
