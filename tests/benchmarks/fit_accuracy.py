"""How true the fit is: generated logs, scanned, fitted and held against their truth.

From the clone's root: `python tests/benchmarks/fit_accuracy.py --logs 100 --table results.json --plot calibration.png`
Prints a row a log and the marks reached and missed; `--case` picks hidden girth, drift or missing ends.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.logmodel import dimensions
from pithline.logmodel.card import Card, ScanPoint
from pithline.logmodel.fit import fit_log
from pithline.logmodel.model import LogModel, clock_angles, clock_direction
from truth.grown import grown_log
from truth.logs import KINDS, TrueLog, clock_of, true_log
from truth.scans import Scan, marked_off, simulate_scan

WRONG = 3.0
"""A log whose outline or centreline is off by so many stated errors, rms over it, is wrong."""


@dataclass(frozen=True)
class Case:
    """A way to lie and be scanned, and the marks to reach: the rms over all logs, in mm, degrees, parts of the whole."""

    seen: float
    hidden: float
    pith: float
    length: float
    plane_deg: float
    volume: float

    def yard(self, rng: np.random.Generator) -> dict:
        """Fields of `Yard`, drawn."""
        return {
            "ridges": float(rng.uniform(2.0, 4.0)),
            "heading_deg": float(rng.uniform(0.0, 360.0)),
            "hidden_deg": float(rng.uniform(60.0, 90.0)),
        }

    def log(self, number: int) -> TrueLog:
        """Log number so-and-so."""
        return true_log(KINDS[number % len(KINDS)], seed_of(number))


class Hidden(Case):
    """90 to 140° of the girth hidden."""

    def yard(self, rng: np.random.Generator) -> dict:
        """Fields of `Yard`, drawn."""
        return Case.yard(self, rng) | {"hidden_deg": float(rng.uniform(90.0, 140.0))}


class Drifted(Case):
    """Two flanks up to 8 mm apart."""

    def yard(self, rng: np.random.Generator) -> dict:
        """Fields of `Yard`, drawn."""
        return Case.yard(self, rng) | {"drift": float(rng.uniform(2.0, 8.0))}


class Grown(Hidden):
    """Logs as uneven as real stems, 90 to 140° of the girth hidden."""

    def log(self, number: int) -> TrueLog:
        """Log number so-and-so."""
        return grown_log(number)


class Open(Case):
    """One end or both not scanned."""

    def yard(self, rng: np.random.Generator) -> dict:
        """Fields of `Yard`, drawn."""
        return Case.yard(self, rng) | {"ends": ((True, False), (False, True), (False, False))[int(rng.integers(3))]}


CASES = {
    "usual": Case(2.0, 5.0, 1.0, 3.0, 0.5, 0.01),
    "hidden": Hidden(2.0, 10.0, 1.0, 3.0, 0.5, 0.02),
    "drift": Drifted(2.0, 5.0, 1.0, 3.0, 0.5, 0.01),
    "open": Open(2.0, 5.0, 1.0, np.inf, np.inf, np.inf),
    "grown": Grown(np.inf, np.inf, np.inf, np.inf, np.inf, np.inf),
}


def seed_of(number: int) -> int:
    """Of log number so-and-so: every kind once before the next seed."""
    return 500 + number // len(KINDS)


def marked_card(log: TrueLog, scan: Scan, rng: np.random.Generator) -> tuple[Card, list[np.ndarray]]:
    """The card with its pith marks a little off, and the marks in the true log frame. [mm]"""
    scan, placed = marked_off(log, scan, rng)
    card = Card(
        log.name, "black walnut", None, scan_units=scan.unit, up=scan.up, bark_thickness=log.bark,
        pith_butt=ScanPoint(tuple(scan.pith_butt)), pith_top=ScanPoint(tuple(scan.pith_top)),
        butt="min" if _rises(scan) else "max",
    )  # fmt: skip
    return card, placed


def _rises(scan: Scan) -> bool:
    """Whether the scan's axis nearest the log rises from butt to top."""
    along = scan.truth_to_scan[:3, 0]
    return bool(along[np.argmax(np.abs(along))] > 0)


def judged(model: LogModel, log: TrueLog, scan: Scan, marks: list[np.ndarray], hidden_deg: float) -> dict:
    """What the fit misses by, and the standardised misses that calibrate its standard errors."""
    to_truth = np.linalg.inv(model.scan_to_log @ scan.truth_to_scan)

    def moved(points: np.ndarray) -> np.ndarray:
        return points @ to_truth[:3, :3].T + to_truth[:3, 3]

    x = model.x[(model.x > 0) & (model.x < model.length)]
    clock = clock_angles()
    radius = model.splines(model.radius_under_bark)(x)
    yz = model.splines(model.centre)(x)[:, None] + radius[..., None] * clock_direction(clock)
    points = moved(np.concatenate([np.broadcast_to(x[:, None, None], (*yz.shape[:2], 1)), yz], axis=2).reshape(-1, 3))
    inside = log.within_ends(points) > 0
    around = clock_of(points[:, 1:] - log.centre(points[:, 0]))
    miss = -log.depth_under_bark(points)
    seen = np.abs(np.angle(np.exp(1j * around))) < np.pi - np.radians(hidden_deg) / 2
    error = model.splines(model.stderr_radius)(x).ravel()

    line = moved(np.column_stack([x, model.splines(model.pith)(x)]))
    offsets = [mark[1:] - log.centre(mark[0]) for mark in marks]
    t = ((line[:, 0] - marks[0][0]) / (marks[1][0] - marks[0][0]))[:, None]
    given = log.centre(line[:, 0]) + (1 - t) * offsets[0] + t * offsets[1]
    middle = moved(np.column_stack([x, model.splines(model.centre)(x)]))
    off_centre = middle[:, 1:] - log.centre(middle[:, 0])
    off_pith = line[:, 1:] - log.pith(line[:, 0])
    planes = [
        float(np.degrees(np.arccos(np.clip(to_truth[:3, :3] @ plane.normal @ normal, -1, 1))))
        for plane, (_, normal) in zip((model.butt, model.top), log.end_planes(), strict=True)
    ]
    volume = log.volume_under_bark()
    z = {
        "radius, seen girth": (miss / error)[inside & seen][::7],
        "radius, hidden girth": (miss / error)[inside & ~seen][::7],
        "centre": (off_centre / model.splines(model.stderr_centre)(x)[:, None]).ravel(),
        "pith": (off_pith / model.splines(model.stderr_pith)(x)[:, None]).ravel(),
    }
    return {
        "seen": _rms(miss[inside & seen]),
        "hidden": _rms(miss[inside & ~seen]),
        "pith": _rms(np.linalg.norm(line[:, 1:] - given, axis=1)),
        "length": model.length - log.length,
        "plane_deg": max(planes),
        "volume": dimensions.volume(model) / volume - 1.0,
        "off_by": max(_rms(values) for name, values in z.items() if name != "pith"),
        "found": [one.kind for one in model.findings],
        "z": z,
    }


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else 0.0


def one(case: Case, number: int, points: int) -> tuple[str, dict]:
    """Log number so-and-so of a case, fitted and judged."""
    seed = seed_of(number)
    rng = np.random.default_rng([77, number])
    log = case.log(number)
    yard = case.yard(rng)
    scan = simulate_scan(log, seed, points=points, **yard)
    card, marks = marked_card(log, scan, rng)
    start = time.process_time()
    model = fit_log(scan.points, card)
    seconds = time.process_time() - start
    found = judged(model, log, scan, marks, yard["hidden_deg"])
    drift = {"drift": yard.get("drift", 0.0), "told": sum("two sides of the scan" in told for told in model.cautions)}
    return log.name, found | {"seconds": seconds} | drift


def table(case: Case, rows: list[dict]) -> tuple[list[str], dict]:
    """Markdown rows: quantity, rms over the logs, median, worst, mark, logs within it."""
    lines, kept = [], {}
    marks = (
        ("seen", "under-bark surface, seen girth, mm", 1.0, 2.0),
        ("hidden", "under-bark surface, hidden girth, mm", 1.0, 2.0),
        ("pith", "pith line off the interpolated marks, mm", 1.0, 2.0),
        ("length", "length, mm", 1.0, 2.0),
        ("plane_deg", "end planes, degrees", 1.0, 3.0),
        ("volume", "volume under bark, %", 100.0, 2.0),
    )
    for key, words, scale, digits in marks:
        values = scale * np.abs([row[key] for row in rows])
        most = np.full(len(rows), scale * getattr(case, key))
        if isinstance(case, Drifted) and key in ("seen", "hidden"):
            most = most + 0.5 * np.array([row["drift"] for row in rows])
        within = int((values <= most).sum())
        shown = "none" if not np.isfinite(most[0]) else f"{scale * getattr(case, key):g}"
        if isinstance(case, Drifted) and key in ("seen", "hidden"):
            shown += " + ½ drift"
        d = int(digits)
        lines.append(
            f"| {words} | {np.sqrt(np.mean(values**2)):.{d}f} | {np.median(values):.{d}f} | {values.max():.{d}f} | "
            f"{shown} | {within} of {len(rows)} |"
        )
        kept[key] = {"rms": float(np.sqrt(np.mean(values**2))), "within": within}
    return lines, kept


def calibration(rows: list[dict]) -> dict[str, np.ndarray]:
    """Standardised misses by quantity, over all logs."""
    names = rows[0]["z"].keys()
    return {name: np.concatenate([row["z"][name] for row in rows]) for name in names}


def plot(sets: dict[str, dict[str, np.ndarray]], path: Path) -> None:
    """Of how many values the truth lies within k standard errors, against what a normal error gives."""
    from matplotlib.figure import Figure
    from scipy.special import erf

    figure = Figure(figsize=(4.6 * len(sets), 4.2), layout="constrained")
    k = np.linspace(0.0, 3.0, 61)
    for place, (title, groups) in enumerate(sets.items()):
        axes = figure.add_subplot(1, len(sets), place + 1)
        axes.plot(k, 100 * erf(k / np.sqrt(2)), color="#888888", lw=3, alpha=0.5, label="a normal error")
        for name, z in groups.items():
            axes.plot(k, [100 * np.mean(np.abs(z) < one) for one in k], lw=1.2, label=name)
        axes.fill_between([1.93, 2.07], 90, 99, color="#3a7d44", alpha=0.35, lw=0, label="the mark: 90 to 99 % at two")
        axes.set(xlabel="standard errors", ylabel="true value within, %", xlim=(0, 3), ylim=(0, 101))
        axes.set_title(title, loc="left", fontsize=9)
        axes.grid(alpha=0.3)
        axes.legend(fontsize=7, loc="lower right")
    figure.savefig(path, dpi=110, metadata={"Software": None})


def main() -> None:
    """Fit, judge, print, draw."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="number of the first log, for logs not seen before")
    parser.add_argument("--points", type=int, default=150_000)
    parser.add_argument("--case", nargs="+", choices=tuple(CASES), default=list(CASES))
    parser.add_argument("--plot", type=Path)
    parser.add_argument("--table", type=Path)
    chosen = parser.parse_args()
    sets, tables = {}, {}
    for name in chosen.case:
        rows = []
        for number in range(chosen.first, chosen.first + chosen.logs):
            log, row = one(CASES[name], number, chosen.points)
            rows.append(row)
            print(
                f"{name:7} {number:4} {log:14} seen {row['seen']:5.2f}  hidden {row['hidden']:6.2f}  pith {row['pith']:5.2f}  "
                f"length {row['length']:+6.2f}  plane {row['plane_deg']:6.3f}  volume {100 * row['volume']:+6.2f} %  "
                f"drift {row['drift']:3.1f} told {row['told']}  off by {row['off_by']:3.1f}  {','.join(row['found']) or 'sound'}  "
                f"{row['seconds']:4.1f} s",
                flush=True,
            )
        lines, kept = table(CASES[name], rows)
        sets[name] = calibration(rows)
        print(f"\n{name}: {len(rows)} logs of {chosen.points} points, median {_median(rows):.1f} CPU seconds\n")
        print("| quantity | rms | median | worst | mark | logs within it |\n|---|---|---|---|---|---|")
        print("\n".join(lines))
        for quantity, z in sets[name].items():
            share = kept[f"within two standard errors, {quantity}"] = float(np.mean(np.abs(z) < 2))
            print(f"within two standard errors, {quantity}: {100 * share:.1f} %; z {_rms(z):.2f}")
        told = [bool(set(row["found"]) - {"butt"}) for row in rows]
        wrong = [row["off_by"] > WRONG for row in rows]
        good_and_told = sum(one and not off for off, one in zip(wrong, told, strict=True))
        print(
            f"off by more than {WRONG:g} stated errors: {sum(wrong)}, of them not told: {sum(wrong) + good_and_told - sum(told)}; "
            f"good and told: {good_and_told} of {len(rows) - sum(wrong)}"
        )
        if name == "drift":
            print(f"drift reported: {sum(row['told'] > 0 for row in rows)} of {len(rows)}")
        print(flush=True)
        tables[name] = kept
    if chosen.plot:
        plot(sets, chosen.plot)
    if chosen.table:
        chosen.table.write_text(json.dumps(tables, indent=1), encoding="utf-8")


def _median(rows: list[dict]) -> float:
    return float(np.median([row["seconds"] for row in rows]))


if __name__ == "__main__":
    main()
