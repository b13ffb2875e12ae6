"""Is the appraisal calibrated? Generated logs with hidden truth: does the true outcome lie between p10 and p90 four times in five?

From the clone's root: `python tests/benchmarks/appraise_calibration.py --logs 60 --size 0.75 --out FOLDER`
Called again it goes on where it was cut off; --first and --logs part the work.

Each log's shape comes from tests/truth/logs.py, which knows nothing of the priors. What nobody can see (bark, spiral, a wandering
pith, knots, checks, metal, rot, figure) is drawn from configs/priors.toml, so the benchmark says whether the arithmetic is right,
not whether the priors are. The plan is made on the scan; of a log known by tape on a scan made once it is bought, as the
appraisal takes it to be. Its plates are judged in the true wood by tests/truth/judge.py, which shares no code with pithline. Rows
are added to FOLDER/rows.csv, one at a time, and the draws of each to FOLDER/draws, so that another question needs no new run.
"""

from __future__ import annotations

import argparse
import csv
import sys
import tempfile
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pithline.errors import PithlineError
from pithline.files.products import products_as_read
from pithline.plan.api import Effort, Objective
from pithline.yard.appraisal.answers import as_scanned
from pithline.yard.appraisal.appraise import ReplanCase, drawn_outcomes, known_log, shop_of
from pithline.yard.appraisal.drawn_logs import draw_basis
from pithline.yard.appraisal.information import in_turn
from pithline.yard.appraisal.layouts import AppraisalShop, AppraisedPlan, plan_now
from pithline.yard.appraisal.log_knowledge import LogKnowledge
from pithline.yard.appraisal.money import sawing_cost
from pithline.yard.appraisal.regrade import outcome, planned
from pithline.yard.appraisal.terms import AppraisalFiles, AppraisalTerms, read_lot, read_terms
from pithline.yard.deciles import deciles
from truth import judge
from truth.hidden import cards, figure_seen, hidden, smaller
from truth.logs import TrueDefect, TrueLog, direction, true_log

KINDS = ("round", "eccentric", "oval", "tapered", "swept", "stubs", "fluted", "flared")
BASES = ("scan", "one flank", "tape")
TODAY = date(2026, 4, 1)
HEADER = (
    "basis",
    "log",
    "planned_L",
    "p10_L",
    "p50_L",
    "p90_L",
    "true_L",
    "value_p10",
    "value_p90",
    "value_true",
    "value_planned",
    "volume_due",
    "value_due",
    "rank",
    "value_rank",
    "seconds",
)

PRODUCTS = """sizes = "green"
[limits.trade]
ring_angle_min_deg = 70
ring_angle_mean_deg = 78
runout_max_deg = 3
[[product]]
name = "tenor ukulele"
price = 60
limits = "trade"
[[product.part]]
name = "back"
count = 2
length = "390 mm"
width = "127 mm"
thickness = "4 mm"
[[product.part]]
name = "side"
count = 2
length = "610 mm"
width = "90 mm"
thickness = "4 mm"
"""


CENT = 0.01
"""Sums of money that differ by less are one."""

QUICK = Effort("quick", 12, 25.0, rounds=3, answers=1, master=2.0)
"""Plans nearly as `pithline plan --effort coarse`, in less time."""


def planned_log(path: str, terms: AppraisalTerms) -> tuple[LogKnowledge, AppraisalShop, AppraisedPlan]:
    """A log as its card tells of it, what it is sawn with, and its plan."""
    [one] = read_lot([path])
    known = known_log(one, terms)
    shop = shop_of(one, terms, as_scanned(known, terms.priors, draw_basis(known)))
    return known, shop, plan_now(shop, terms.request)


def one_row(
    kind: str, seed: int, basis: str, terms: AppraisalTerms, products_read: dict, folder: Path, share: float = 1.0
) -> tuple[dict[str, object], dict[str, np.ndarray]]:
    """Appraise one log and judge its plan; its row, and what was drawn."""
    start = time.process_time()
    log = hidden(smaller(true_log(kind, seed), share), terms.priors, seed)
    path, scan = cards(log, basis, seed, terms.priors, folder)
    known, shop, plan = planned_log(path, terms)
    drawn = drawn_outcomes(ReplanCase(known, terms.priors, shop, plan, draw_basis(known), terms.seed), in_turn)
    if basis == "tape":  # once it is bought it is scanned, and sawn by that
        path, scan = cards(log, "scan", seed, terms.priors, folder)
        known, shop, plan = planned_log(path, terms)
    own, sold, rate = planned(plan.ledger, shop.parts), shop.sold, shop.machines.mill.hour_rate
    matrix = np.linalg.inv(known.model.scan_to_log @ scan.truth_to_scan)
    good = [judged(plate, shop, matrix, log, products_read) for plate in own.plates]
    real, claimed = outcome(np.array(good, bool), own, sold), outcome(np.ones(len(good), bool), own, sold)
    volumes = np.array([o.volume for o in drawn.outcomes])
    nets = np.array([o.sales - sawing_cost(m, rate) for o, m in zip(drawn.outcomes, drawn.minutes, strict=True)])
    low, middle, high = (v / 1e6 for v in deciles(volumes))
    value_low, _, value_high = deciles(nets)
    labour = sawing_cost(plan.minutes, rate)
    earned = real.sales * figure_seen(terms.priors, seed) - labour
    cells = (
        basis, log.name, sum(p.volume for p in own.plates) / 1e6, low, middle, high, real.volume / 1e6,
        value_low, value_high, earned, claimed.sales - labour, due(volumes, 1.0), due(nets, CENT),
        rank(volumes, real.volume, 1.0), rank(nets, earned, CENT), time.process_time() - start,
    )  # fmt: skip
    row = dict(zip(HEADER, [c if isinstance(c, str) else round(float(c), 3) for c in cells], strict=True))
    draws = {
        "volumes": volumes, "sales": np.array([o.sales for o in drawn.outcomes]), "minutes": np.array(drawn.minutes),
        "nets": nets, "sets": np.array([list(o.sets.values()) for o in drawn.outcomes]),
        "metal": np.array(drawn.metal), "good": np.array(good, bool), "plates": np.array([p.volume for p in own.plates]),
        "true": np.array([real.volume, real.sales, plan.minutes, earned]),
    }  # fmt: skip
    return row, draws


def due(values: np.ndarray, tie: float) -> float:
    """What share of draws (n,) the span p10-p90 of the others holds: what a forecast that is exactly right would show.

    An outcome that counts whole sets ties with others, and a span with its edges included then holds more than four in five.
    Draws within `tie` of an edge lie in the span.
    """
    held = 0
    for i, one in enumerate(values):
        low, _, high = deciles(np.delete(values, i))
        held += low - tie <= one <= high + tie
    return held / len(values)


def rank(values: np.ndarray, true: float, tie: float) -> float:
    """The share of draws (n,) below the true outcome, of those within `tie` of it a half: 0.5 on average of a right forecast."""
    return float(np.mean(values < true - tie) + 0.5 * np.mean(np.abs(values - true) <= tie))


def judged(plate, trade, matrix: np.ndarray, log: TrueLog, products_read: dict) -> bool:
    """Whether the independent judge finds the plate good in the true wood, by the limits as the appraisal has them: to the letter."""
    part = trade.parts[plate.part]
    entry = {
        "id": plate.id, "volume": plate.volume, "passes": True, "limits": part.limits.name,
        "corner": [float(v) for v in plate.corner], "edges": [[float(v) for v in edge] for edge in plate.edges],
    }  # fmt: skip
    checks = [one for one in log.defects if one.kind == "check"]
    sound = replace(log, defects=tuple(one for one in log.defects if one.kind != "check"))
    found = judge._plate({"inputs": {"products": products_read}}, entry, {}, {}, sound, matrix, [], allowed=0.0)
    corner = plate.corner @ matrix[:3, :3].T + matrix[:3, 3]
    edges = np.array(plate.edges) @ matrix[:3, :3].T
    return not found.lost and not any(cracked(log, check, corner, edges) for check in checks)


def cracked(log: TrueLog, check: TrueDefect, corner: np.ndarray, edges: np.ndarray) -> bool:
    """Whether an end check, a half plane from the pith that is thinner than the judge's grid, parts a plate."""
    along = np.linspace(0.0, 1.0, 30)
    across, through = np.linspace(0.0, 1.0, 40), np.array([0.0, 1.0])
    a, b, c = np.meshgrid(along, across, through, indexing="ij")
    points = corner + a[..., None] * edges[0] + b[..., None] * edges[1] + c[..., None] * edges[2]
    point, normal = log.end_planes()[0 if check.end == "butt" else 1]
    inside = (point - points) @ normal <= check.length
    offset = points[..., 1:] - log.pith(points[..., 0])
    inside &= offset @ direction(check.clock) > 0.0
    aside = (offset @ direction(check.clock + np.pi / 2))[inside]
    return bool(len(aside) and aside.min() < 0.0 < aside.max())


def inside(row: dict[str, str], low: str, high: str, true: str) -> bool:
    """Whether the true outcome lies in the span foretold, its edges included."""
    return float(row[low]) - 1e-3 <= float(row[true]) <= float(row[high]) + 1e-3


def misses(rows: list[dict[str, str]], low: str, high: str, true: str) -> tuple[int, int]:
    """How many true outcomes lie above the span foretold, and how many below."""
    above = sum(float(row[true]) > float(row[high]) + 1e-3 for row in rows)
    return above, sum(float(row[true]) < float(row[low]) - 1e-3 for row in rows)


def ranks(rows: list[dict[str, str]], key: str) -> str:
    """Mean and spread of the truth's rank among the draws; of a forecast that is right it is even from 0 to 1."""
    each = [float(row[key]) for row in rows]
    return f"rank {np.mean(each):.2f}, its spread {np.std(each):.2f}"


def summary(rows: list[dict[str, str]]) -> str:
    """Coverage by what was known, with its sampling error, and how the misses lean."""
    out = []
    for basis in BASES:
        own = [row for row in rows if row["basis"] == basis]
        if own:
            volume = np.mean([inside(row, "p10_L", "p90_L", "true_L") for row in own])
            value = np.mean([inside(row, "value_p10", "value_p90", "value_true") for row in own])
            above, below = misses(own, "p10_L", "p90_L", "true_L")
            volume_due, value_due = (np.mean([float(row[key]) for row in own]) for key in ("volume_due", "value_due"))
            value_above, value_below = misses(own, "value_p10", "value_p90", "value_true")
            claims = np.mean([inside(row, "value_p10", "value_p90", "value_planned") for row in own])
            error = np.sqrt(0.8 * 0.2 / len(own))
            out.append(
                f"{basis}: {len(own)} logs, volume within p10-p90 {volume:.0%} (a right forecast {volume_due:.0%}), above {above}, "
                f"below {below}, earned {value:.0%} (a right forecast {value_due:.0%}), above {value_above}, below {value_below}, "
                f"the plan's own claim {claims:.0%}, each ± {error:.0%}; {ranks(own, 'rank')} of volume, {ranks(own, 'value_rank')} "
                f"of earnings, each ± {np.sqrt(1 / 12 / len(own)):.2f} (right: 0.50 and 0.29)"
            )
    return "\n".join(out)


def plot(rows: list[dict[str, str]], path: Path) -> None:
    """True volume against the span foretold, as shares of the volume planned."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, 3, figsize=(10, 5.4), sharex=True, layout="constrained")
    for axis, basis in zip(axes, BASES, strict=True):
        own = sorted(
            (r for r in rows if r["basis"] == basis and float(r["planned_L"]) > 0),
            key=lambda r: float(r["p50_L"]) / float(r["planned_L"]),
        )
        hits = 0
        for y, row in enumerate(own):
            low, high, true, whole = (float(row[k]) for k in ("p10_L", "p90_L", "true_L", "planned_L"))
            within = inside(row, "p10_L", "p90_L", "true_L")
            hits += within
            axis.plot(
                [low / whole, high / whole],
                [y, y],
                color="#b08850",
                linewidth=min(4.0, 200.0 / len(own)),
                solid_capstyle="butt",
            )
            axis.plot(
                true / whole,
                y,
                "o" if within else "X",
                color="#23201c" if within else "#a2432c",
                markersize=4,
                zorder=3,
            )
        axis.set_title(f"{basis}: {hits} of {len(own)} within")
        axis.set_xlim(0, 1.03)
        axis.set_yticks([])
        axis.set_xlabel("share of the planned volume that passes")
    axes[0].set_ylabel("generated logs")
    figure.savefig(path, dpi=130)


def main() -> None:
    """Appraise, judge, add rows; then the summary and the plot."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=60, help="logs for each of the three kinds of knowledge")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--bases", nargs="+", default=list(BASES), choices=BASES)
    parser.add_argument("--out", required=True)
    parser.add_argument("--size", type=float, default=1.0, help="share of the usual size: smaller logs are quicker")
    parser.add_argument("--plot-only", action="store_true")
    chosen = parser.parse_args()
    folder = Path(chosen.out)
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "rows.csv"
    done: set[tuple[str, str]] = set()
    if file.exists():  # a run that was cut off goes on where it was
        with open(file, encoding="utf-8", newline="") as source:
            done = {(row["basis"], row["log"]) for row in csv.DictReader(source)}
    with tempfile.TemporaryDirectory() as temporary:
        products = Path(temporary) / "products.toml"
        products.write_text(PRODUCTS, encoding="utf-8")
        files = AppraisalFiles(products=(products,))
        terms = replace(read_terms(files, 0.25, 1, TODAY, Objective.VALUE), effort=QUICK)
        read = products_as_read(products)
        for number in range(chosen.first, 0 if chosen.plot_only else chosen.first + chosen.logs):
            for basis in chosen.bases:
                kind, seed = KINDS[number % len(KINDS)], 7000 + number
                if (basis, f"{kind}-{seed}") in done:
                    continue
                try:
                    row, draws = one_row(kind, seed, basis, terms, read, Path(temporary), chosen.size)
                except PithlineError as error:
                    print(f"{basis:10} {kind}-{seed}: {error}", flush=True)
                    continue
                (folder / "draws").mkdir(exist_ok=True)
                np.savez_compressed(folder / "draws" / f"{basis.replace(' ', '-')}-{kind}-{seed}.npz", **draws)
                new = not file.exists()
                with open(file, "a", encoding="utf-8", newline="") as out:
                    writer = csv.DictWriter(out, HEADER, lineterminator="\n")
                    if new:
                        writer.writeheader()
                    writer.writerow(row)
                print(row, flush=True)
    with open(file, encoding="utf-8", newline="") as source:
        rows = list(csv.DictReader(source))
    print(summary(rows))
    plot(rows, folder / "appraisal-calibration.png")


if __name__ == "__main__":
    main()
