"""Do sampled logs differ from the fitted one as true logs do? Half-scans, fitted: the truth in standard deviations of sampled logs.

From the clone's root: `python tests/benchmarks/sampled_logs.py --logs 12`
Prints a row a kind of log: root mean squares of how far the truth lies off the fit, in standard deviations of the sampled logs (1 where
those are as far off as the truth is), for rings round the log at three depths, rings along it, pith, and surface seen and hidden.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from fit_accuracy import marked_card

from pithline.logmodel.fit import fit_log
from pithline.plan.evaluate.sampling import sampled_logs
from pithline.plan.problem.log_frame import plan_log
from pithline.wood.field import WoodField, at_points
from truth.grown import grown_log
from truth.logs import TrueLog, direction, true_log
from truth.scans import simulate_scan

SMOOTH = ("slim", "stubs", "flared", "swept")
SAMPLES = 40
DEPTHS = (0.35, 0.6, 0.85)
NAMES = (*(f"round, {depth:g} R" for depth in DEPTHS), "along", "pith", "seen", "hidden")


def logs(grown: bool, first: int) -> Iterator[tuple[int, TrueLog]]:
    """Seeds and logs, as uneven as real stems or smooth ones of four kinds; without end."""
    for seed in range(first, first + 10_000):
        yield from ((seed, grown_log(seed)),) if grown else ((seed, true_log(kind, seed)) for kind in SMOOTH)


def places(field: WoodField, length: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Stations (s,), the fitted pith there (s, 2), clock angles (c,), points of the bark (s, c, 3) and of the wood (3, s, c, 3)."""
    index = np.linspace(0.1, 0.9, 9) * (len(field.pith) - 1)
    index = index.astype(int)
    x, degrees = field.x0 + index * field.dx, np.arange(0, 360, 10)
    index, x = index[(x > 0.05 * length) & (x < 0.95 * length)], x[(x > 0.05 * length) & (x < 0.95 * length)]
    clock = np.radians(degrees.astype(float))
    away = field.radius[index][:, degrees, None] * direction(clock)
    station = np.broadcast_to(x[:, None, None], (*away.shape[:2], 1))
    bark, *wood = (
        np.concatenate([station, field.pith[index][:, None] + part * away], axis=2) for part in (1.0, *DEPTHS)
    )
    return x, field.pith[index], clock, bark, np.array(wood)


def measured(seed: int, log: TrueLog) -> dict[str, np.ndarray]:
    """How far the truth lies off the fit in sampled standard deviations, by quantity."""
    rng = np.random.default_rng([91, seed])
    hidden_deg, heading, ridges = rng.uniform(150.0, 180.0), rng.uniform(0.0, 360.0), rng.uniform(2.0, 4.0)
    scan = simulate_scan(log, seed, points=60_000, hidden_deg=hidden_deg, heading_deg=heading, ridges=ridges)
    model = fit_log(scan.points, marked_card(log, scan, rng)[0])
    to_truth = np.linalg.inv(model.scan_to_log @ scan.truth_to_scan)
    turn, shift = to_truth[:3, :3], to_truth[:3, 3]
    own = plan_log(model, log.pith_radius, log.trim_butt, log.trim_top, ())
    x, pith, clock, bark, wood = places(own.field, model.length)
    e = np.column_stack([np.zeros(len(clock)), direction(clock)])
    tangent = np.column_stack([np.zeros(len(clock)), -np.cos(clock), -np.sin(clock)])
    # on a plane at 45° to the rings the ring angle turns as the ring normal does
    planes = {"round": (e + tangent) / np.sqrt(2.0), "along": (e + np.eye(3)[0]) / np.sqrt(2.0)}

    def read(field: WoodField) -> dict[str, np.ndarray]:
        angle = {
            name: np.stack([at_points(field, wood[:, :, i], n)[0] for i, n in enumerate(normals)], axis=2)
            for name, normals in planes.items()
        }
        at = np.round((x - field.x0) / field.dx).astype(int)
        moved = field.pith[at] - pith
        out = field.radius[at][:, np.round(np.degrees(clock)).astype(int)] + moved @ direction(clock).T
        return {**angle, "pith": moved, "surface": out}

    fitted = read(own.field)
    drawn = [read(one.field) for one in sampled_logs(own, SAMPLES, 5)]
    spread = {name: np.sqrt(np.mean([(one[name] - fitted[name]) ** 2 for one in drawn], axis=0)) for name in fitted}
    true = {
        name: np.stack(
            [log.ring_angle(wood[:, :, i] @ turn.T + shift, turn @ n) for i, n in enumerate(normals)], axis=2
        )
        for name, normals in planes.items()
    }
    line = np.column_stack([x, pith]) @ turn.T + shift
    true["pith"] = (log.pith(line[:, 0]) - line[:, 1:]) @ turn[1:, 1:]
    true["surface"] = fitted["surface"] + log.depth_under_bark(bark @ turn.T + shift)
    z = {name: (true[name] - fitted[name]) / spread[name] for name in fitted}
    unseen = np.abs(np.angle(np.exp(1j * (clock - np.pi)))) < np.radians(hidden_deg) / 2.0
    rings = {name: z["round"][i] for i, name in enumerate(NAMES[:3])}
    return {
        **rings,
        "along": z["along"],
        "pith": z["pith"],
        "seen": z["surface"][:, ~unseen],
        "hidden": z["surface"][:, unseen],
    }


def main() -> None:
    """Fit, sample, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=12, help="of each of two kinds")
    parser.add_argument("--first", type=int, default=2000, help="seed of the first logs")
    chosen = parser.parse_args()
    print("| logs | " + " | ".join(NAMES) + " |\n|---|" + "---|" * len(NAMES))
    for grown in (True, False):
        source = logs(grown, chosen.first)
        found = [measured(*next(source)) for _ in range(chosen.logs)]
        rms = [np.sqrt(np.mean(np.concatenate([one[name].ravel() for one in found]) ** 2)) for name in NAMES]
        words = "as uneven as real stems" if grown else "smooth"
        print(f"| {chosen.logs} {words} | " + " | ".join(f"{value:.2f}" for value in rms) + " |", flush=True)


if __name__ == "__main__":
    main()
