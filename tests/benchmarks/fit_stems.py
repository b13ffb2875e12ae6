"""How true the fit is on real stems made into hard cases, before and after a change, in one run.

From the clone's root: `PITHLINE_STEMS=folder python tests/benchmarks/fit_stems.py [--before OTHER/pipeline] [--only WORD]`
Prints a table in Markdown: a row a case, over the four stems; misses in mm, and in stated standard errors (z).
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from truth import stems

HERE = Path(__file__).resolve()
Make = Callable[[stems.Stem], stems.Stem]
ASSUMED = ("No pith", "No bark", "The butt end face", "The top end face", "Which end")
"""Cautions that every one of these scans earns: they have no card."""


def slim(stem: stems.Stem) -> stems.Stem:
    """Made 140 mm thick and 4.2 m long, both faces scanned."""
    return stems.stretched(stems.felled(stem, 1), 1.4, 0.54)


def thick(stem: stems.Stem) -> stems.Stem:
    """Made 570 mm thick, both faces scanned."""
    return stems.scaled(stems.felled(stem, 1), 285.0 / stem.radius)


CASES: dict[str, Make] = {
    "as scanned": lambda s: s,
    "felled": lambda s: stems.felled(s, 1),
    "one half of the points": lambda s: stems.halves(s, 1)[0],
    "the other half": lambda s: stems.halves(s, 1)[1],
    "a quarter of the points": lambda s: stems.thinned(s, 0.25, 2),
    "felled, 90° hidden": lambda s: stems.hidden(stems.felled(s, 1), 90, 2.8),
    "felled, 120° hidden": lambda s: stems.hidden(stems.felled(s, 1), 120, 3.4),
    "felled, 180° hidden": lambda s: stems.hidden(stems.felled(s, 1), 180, 4.6),
    "no faces, 90° hidden": lambda s: stems.hidden(s, 90, 2.0),
    "no faces, 180° hidden": lambda s: stems.hidden(s, 180, 2.0),
    "half the size": lambda s: stems.scaled(s, 0.5),
    "1.6 times the size": lambda s: stems.scaled(s, 1.6),
    "twice the size": lambda s: stems.scaled(s, 2.0),
    "slim": slim,
    "slim, twice the size": lambda s: stems.scaled(slim(s), 2.0),
    "slim, an S of 40 mm": lambda s: stems.bent(slim(s), 40.0, 0.7, 1.0),
    "slim, waves of 15 mm": lambda s: stems.bent(slim(s), 15.0, 2.7, 2.5),
    "thick, bent by 50 mm": lambda s: stems.bent(thick(s), 50.0, 1.0),
    "thick, bent by 100 mm": lambda s: stems.bent(thick(s), 100.0, 2.5),
    "thick, an S of 60 mm": lambda s: stems.bent(thick(s), 60.0, 0.4, 1.0),
    "buttressed": lambda s: stems.buttressed(stems.felled(s, 1), 5, 0.25, 350.0),
    "buttressed, no faces": lambda s: stems.buttressed(s, 5, 0.25, 350.0),
    "fluted": lambda s: stems.buttressed(stems.felled(s, 1), 6, 0.12, 3000.0),
    "two layers 15 mm apart": lambda s: stems.in_two_layers(stems.felled(s, 1), 15.0, 1.0),
}


AROUND = 6
"""Where girth is hidden all round in turn, so many places are tried."""
HIDDEN = (90, 120, 150, 180)


def hidden_around(stem: stems.Stem, degrees: int, faces: bool) -> list[stems.Stem]:
    """The stem with girth hidden at places all round in turn."""
    base = stems.felled(stem, 1) if faces else stem
    return [stems.hidden(base, degrees, place * 2.0 * np.pi / AROUND) for place in range(AROUND)]


def one(stem: stems.Stem) -> dict:
    """A stem fitted and judged: rms of misses and of their z, shares within two stated errors, cautions; or the refusal."""
    from pithline.errors import PithlineError
    from pithline.logmodel.card import Card
    from pithline.logmodel.fit import fit_log

    try:
        model = fit_log(stem.points, Card(stem.name, "black walnut", None, scan_units="mm", up="+z"))
    except PithlineError as error:
        return {"refused": str(error)}
    except Exception as error:
        return {"refused": f"crash: {error!r}"}
    found = stems.judged(stem, model, model.scan_to_log)

    def rms(values: np.ndarray) -> float | None:
        return float(np.sqrt(np.mean(np.square(values)))) if values.size else None

    hid = found.hidden
    return {
        "centre": rms(found.centre), "z_centre": rms(found.z_centre), "radius": rms(found.radius), "z_radius": rms(found.z_radius),
        "seen": rms(found.surface[~hid]), "z_seen": rms(found.z_surface[~hid]),
        "hidden": rms(found.surface[hid]), "z_hidden": rms(found.z_surface[hid]),
        "within": [float(np.mean(np.abs(z) < 2.0)) for z in (found.z_centre, found.z_radius)],
        "within_hidden": float(np.mean(np.abs(found.z_surface[hid]) < 2.0)) if hid.any() else None,
        "off_by": found.off_by(),
        "told": [text for text in model.cautions if not text.startswith(ASSUMED)],
    }  # fmt: skip


def rows(only: str, around: bool = False) -> dict[str, list[dict]]:
    """Every case over the four stems; or girth hidden all round in turn."""
    loaded = [stems.load(name) for name in stems.NAMES]
    if around:
        return {
            f"{degrees}° hidden, {'felled' if faces else 'no faces'}": [
                one(turned) for stem in loaded for turned in hidden_around(stem, degrees, faces)
            ]
            for degrees in HIDDEN
            for faces in (True, False)
        }
    return {name: [one(make(stem)) for stem in loaded] for name, make in CASES.items() if only in name}


def measured(pipeline: Path, only: str, around: bool) -> dict[str, list[dict]]:
    """The rows of a pipeline folder, in a process of its own."""
    done = subprocess.run(
        [sys.executable, str(HERE), "--rows", "--only", only, *(["--around"] if around else [])],
        env={**os.environ, "PYTHONPATH": str(pipeline)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    found: dict[str, list[dict]] = json.loads(done.stdout)
    return found


def cell(found: list[dict], key: str, digits: int = 1) -> str:
    """The rms over stems of one figure with its z, or a dash."""
    values = [row[key] for row in found if row.get(key) is not None]
    if not values:
        return "–"
    z = [row[f"z_{key}"] for row in found if row.get(key) is not None]
    return f"{np.sqrt(np.mean(np.square(values))):.{digits}f} ({np.sqrt(np.mean(np.square(z))):.1f})"


def line(name: str, found: list[dict]) -> str:
    """A row of the table."""
    fitted = [row for row in found if "refused" not in row]
    silent = sum(row["off_by"] > 3.0 and not row["told"] for row in fitted)
    told = sum(bool(row["told"]) for row in fitted)
    figures = " | ".join(cell(fitted, key) for key in ("centre", "radius", "seen", "hidden"))
    return f"| {name} | {figures} | {told} | {silent} | {len(found) - len(fitted)} |"


def spread_of(found: dict[str, list[dict]], key: str, name: str) -> str:
    """By case: z of one figure, and how often it lies within two stated errors."""
    said = []
    for case, cases in found.items():
        own = [row for row in cases if "refused" not in row]
        z = np.sqrt(np.mean([row[f"z_{key}"] ** 2 for row in own]))
        within = np.mean([row["within_hidden"] if key == "hidden" else row["within"][key == "radius"] for row in own])
        said.append(f"{case} {z:.2f}, {within:.0%}")
    return f"\n{name}, z and share within two stated errors: {'; '.join(said)}."


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--before", type=Path, help="another checkout's pipeline folder, measured in the same run")
    parser.add_argument("--only", default="", help="cases that hold this word")
    parser.add_argument("--rows", action="store_true", help="print the rows as JSON, of the pipeline that is imported")
    parser.add_argument(
        "--around", action="store_true", help="girth hidden at places all round in turn, instead of the cases"
    )
    chosen = parser.parse_args()
    if chosen.rows:
        print(json.dumps(rows(chosen.only, chosen.around)))
        return
    runs = {"after": HERE.parent.parent.parent / "pipeline"} | ({"before": chosen.before} if chosen.before else {})
    for title, pipeline in runs.items():
        found = measured(pipeline, chosen.only, chosen.around)
        print(
            f"\n**{title}**\n\n| case | centre | radius | surface seen | surface hidden | told | wrong and silent | refused |"
        )
        print("|---|---|---|---|---|---|---|---|")
        for name, cases in found.items():
            print(line(name, cases))
        fitted = [row for cases in found.values() for row in cases if "refused" not in row]
        halves = [
            row for name in found if "half of" in name or "other half" in name for row in found[name] if "within" in row
        ]
        shares = np.mean([row["within"] for row in halves], axis=0) if halves else (np.nan, np.nan)
        for key, name in (
            (("centre", "centre"), ("radius", "radius"), ("hidden", "hidden cells")) if chosen.around else ()
        ):
            print(spread_of(found, key, name))
        hidden = [row["z_hidden"] for row in fitted if row["z_hidden"] is not None]
        z = np.sqrt(np.mean(np.square(hidden))) if hidden else np.nan
        print(
            f"\nOf halves, centre within two stated errors {shares[0]:.0%}, radius {shares[1]:.0%}; z of hidden cells {z:.2f}."
        )


if __name__ == "__main__":
    main()
