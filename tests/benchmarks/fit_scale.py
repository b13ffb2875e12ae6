"""Whether a log and its copy of half or twice the size are fitted alike.

From the clone's root: `PITHLINE_STEMS=folder python tests/benchmarks/fit_scale.py [--before OTHER/pipeline]`
Scans are enlarged as a whole, noise and bark with them. Prints how far the copy's centreline and equal-area radius lie from the log's
own, rms over stations, in mm of the log's own size.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from fit_accuracy import CASES

from pithline.errors import PithlineError
from pithline.logmodel.card import Card
from pithline.logmodel.fit import fit_log
from pithline.logmodel.model import LogModel, clock_angles, clock_direction
from truth import stems
from truth.logs import KINDS
from truth.scans import simulate_scan

Array = NDArray[np.float64]

HERE = Path(__file__).resolve()
FACTORS = (0.5, 2.0)
MARK = 0.2
STATIONS = 100
CLEAR = 0.5
"""Nothing is compared so near to the ends. [radii]"""


def scans(number: int, points: int) -> dict[str, tuple[Array, str]]:
    """Points (n, 3) in mm, and the axis that is up, of generated logs of every kind and of four stems as scanned."""
    found = {}
    for k in range(len(KINDS)):
        case = CASES["usual"]
        log = case.log(number + k)
        scan = simulate_scan(log, number + k, points=points, **case.yard(np.random.default_rng([78, number + k])))
        mm = np.abs(np.linalg.det(scan.truth_to_scan[:3, :3])) ** (1 / 3)
        found[log.name] = (scan.points / mm, scan.up)
    for name in stems.NAMES:
        stem = stems.load(name)
        found[stem.name] = (stem.points, "+z")
    return found


def fitted(points: Array, up: str) -> LogModel:
    """A scan in mm, fitted without marks; where its butt lies the size must not tell."""
    return fit_log(points, Card("copy", "black walnut", None, scan_units="mm", up=up, butt="min"))


def outline(model: LogModel, into: Array, x: Array) -> tuple[Array, Array]:
    """Centre (k, 2) and equal-area radius (k,) at stations x (k,) of the frame that `into` (4, 4) takes the model's own to. [mm]"""
    clock = clock_angles()
    radius = model.splines(model.radius_under_bark)(model.x)
    yz = model.splines(model.centre)(model.x)[:, None] + radius[..., None] * clock_direction(clock)
    own = np.concatenate([np.broadcast_to(model.x[:, None, None], (*yz.shape[:2], 1)), yz], axis=2)
    moved = own @ into[:3, :3].T + into[:3, 3]
    size = np.cbrt(np.linalg.det(into[:3, :3]))
    middle = np.column_stack([model.x, model.splines(model.centre)(model.x)]) @ into[:3, :3].T + into[:3, 3]
    centre = np.column_stack([np.interp(x, middle[:, 0], middle[:, i]) for i in (1, 2)])
    area = np.sqrt(np.mean(radius**2, axis=1)) * size
    return centre, np.interp(x, moved[:, :, 0].mean(axis=1), area)


def moved_by(points: Array, up: str) -> dict[str, dict[str, float]]:
    """By factor: how far the copy's centre and radius lie from the log's own. [mm of the log's own size]"""
    base = fitted(points, up)
    radius = float(np.median(base.radius_under_bark))
    x = np.linspace(CLEAR * radius, base.length - CLEAR * radius, STATIONS)
    centre, size = outline(base, np.eye(4), x)
    found = {}
    for factor in FACTORS:
        try:
            copy = fitted(points * factor, up)
        except PithlineError as error:
            found[f"{factor:g}"] = {"refused": 1.0}
            print(error, file=sys.stderr)
            continue
        shrunk = np.diag([1 / factor] * 3 + [1.0])
        into = base.scan_to_log @ shrunk @ np.linalg.inv(copy.scan_to_log)
        other, also = outline(copy, into, x)
        found[f"{factor:g}"] = {
            "centre": float(np.sqrt(np.mean(np.sum((other - centre) ** 2, axis=1)))),
            "radius": float(np.sqrt(np.mean((also - size) ** 2))),
            "length": copy.length / factor - base.length,
            "faces": float(sum("end face was not scanned" in told for told in copy.cautions)),
        }
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--before", type=Path, help="another checkout's pipeline folder, measured in the same run")
    parser.add_argument("--first", type=int, default=1100, help="number of the first generated log")
    parser.add_argument("--points", type=int, default=60_000)
    parser.add_argument("--only", default="", help="logs that hold this word")
    parser.add_argument("--rows", action="store_true", help="print the rows as JSON, of the pipeline that is imported")
    chosen = parser.parse_args()
    if chosen.rows:
        rows = {
            name: moved_by(*scan) for name, scan in scans(chosen.first, chosen.points).items() if chosen.only in name
        }
        print(json.dumps(rows))
        return
    runs = {"after": HERE.parent.parent.parent / "pipeline"} | ({"before": chosen.before} if chosen.before else {})
    same = ["--first", str(chosen.first), "--points", str(chosen.points), "--only", chosen.only]
    for title, pipeline in runs.items():
        done = subprocess.run(
            [sys.executable, str(HERE), "--rows", *same],
            env={**os.environ, "PYTHONPATH": str(pipeline)}, stdout=subprocess.PIPE, text=True, check=True,
        )  # fmt: skip
        rows = json.loads(done.stdout)
        print(
            f"\n**{title}**\n\n| log | {' | '.join(f'× {factor:g}: centre, radius, length, mm' for factor in FACTORS)} |"
        )
        print("|---|" + "---|" * len(FACTORS))
        for name, row in rows.items():
            print(f"| {name} | {' | '.join(shown(one) for one in row.values())} |")
        sizes = [max(one["centre"], one["radius"]) for row in rows.values() for one in row.values() if "centre" in one]
        print(
            f"\nThe larger of the two: median {np.median(sizes):.2f} mm, worst {max(sizes):.2f}; within {MARK} mm "
            f"{sum(size <= MARK for size in sizes)} of {sum(len(row) for row in rows.values())} copies."
        )


def shown(one: dict[str, float]) -> str:
    """One cell of the table."""
    return f"{one['centre']:.2f}, {one['radius']:.2f}, {one['length']:+.1f}" if "centre" in one else "refused"


if __name__ == "__main__":
    main()
