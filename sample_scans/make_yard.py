"""Make a yard of twelve logs and its order book: `python sample_scans/make_yard.py FOLDER` from the clone's root.

The three samples, and nine more invented logs whose truth comes from tests/truth/logs.py by kind and seed; the files come out
the same each time. Then: `pithline season FOLDER/logs.csv --orders FOLDER/orders.csv --out season --start 2026-04-06`.
"""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

from truth.logs import true_log  # noqa: E402
from truth.scans import Yard, card_text, simulate_scan, write_binary_ply  # noqa: E402

SAMPLES = ("af-07", "af-12", "af-15")
MORE = {
    # id: kind, seed, radius and length in mm (0: as the kind has it), cost, first day it can be sawn
    "af-21": ("round", 3, 260, 1900, 310, ""),
    "af-22": ("eccentric", 5, 0, 0, 280, ""),
    "af-23": ("oval", 2, 240, 1500, 190, ""),
    "af-24": ("flared", 4, 300, 2100, 520, "2026-06-01"),
    "af-25": ("tapered", 6, 0, 0, 240, ""),
    "af-26": ("swept", 7, 230, 2300, 160, ""),
    "af-27": ("fluted", 8, 0, 0, 270, "2026-05-04"),
    "af-28": ("slim", 9, 0, 0, 60, ""),
    "af-29": ("big", 1, 330, 1700, 690, ""),
}
ORDERS = """product,quantity,price,due,priority,matched
small guitar,60,,2026-09-30,,
small guitar,4,190,2026-07-31,2,log
dreadnought guitar,20,,2026-10-31,,
tenor ukulele,90,,2026-08-31,,
tenor ukulele,8,72,2026-06-15,3,log
guitar neck,16,,,,
fingerboard,60,,2026-12-15,,
headplate,60,,2026-10-31,,
bridge,120,,,,
"""


def main() -> None:
    """Write scans, cards, manifest and orders."""
    if len(sys.argv) != 2:
        raise SystemExit("error: name the folder for the yard: python sample_scans/make_yard.py FOLDER")
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    rows = ["card,cost,not_before"]
    for name in SAMPLES:
        for kind in ("ply", "toml"):
            shutil.copyfile(HERE / f"{name}.{kind}", folder / f"{name}.{kind}")
        rows.append(f"{name}.toml,,")
    for name, (kind, seed, radius, length, cost, first) in MORE.items():
        log = replace(true_log(kind, seed), name=name)
        log = replace(log, radius=radius or log.radius, length=length or log.length)
        scan = simulate_scan(log, seed, Yard(points=60_000))
        write_binary_ply(folder / f"{name}.ply", scan.points, "an invented log, made by make_yard.py")
        (folder / f"{name}.toml").write_text(card_text(log, scan, f"{name}.ply"), encoding="utf-8")
        rows.append(f"{name}.toml,{cost},{first}")
    (folder / "logs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "orders.csv").write_text(ORDERS, encoding="utf-8")


if __name__ == "__main__":
    main()
