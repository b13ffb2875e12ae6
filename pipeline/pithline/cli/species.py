"""pithline species [NAME]: what is known of each wood and from where, and what it does as it dries."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from pithline.cli.console import Console
from pithline.errors import InputError

if TYPE_CHECKING:
    from pithline.logmodel.species import Species

RING_ANGLES_DEG = (90.0, 75.0, 60.0, 45.0, 30.0, 0.0)
SLOPES_ONE_IN = (25.0, 20.0, 15.0, 10.0, 5.0)
"""The rows of the handbook's table of strength by slope of grain."""
USUAL_MOISTURE = 8.0
"""What instrument wood is dried to where nothing is said [percent]: 6 to 8 % at building (common practice, no source)."""
SEASON = (6.0, 10.0)
"""Moisture content of wood in a heated room in winter and in summer. [percent] Common practice, no source."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command's own arguments."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="a wood, as cards call it [default: list all]")
    parser.add_argument(
        "--to", metavar="PERCENT", type=float, help=f"moisture content dried to [default: {USUAL_MOISTURE:g}]"
    )
    parser.add_argument("--air", metavar="TEMPERATURE", help='or the air it lies in: "20 C" or "68 F", with --humidity')
    parser.add_argument("--humidity", metavar="PERCENT", type=float, help="relative humidity of that air")
    parser.add_argument("--json", action="store_true", help="print what is shown as JSON, for machines")


def run(args: argparse.Namespace, console: Console) -> int:
    """List the woods, or tell of one."""
    from pithline.logmodel.species import SPECIES, species_of

    moisture = _moisture(args)
    if args.name is None:
        if args.json:
            console.json([_document(wood, moisture) for wood in SPECIES.values()])
        else:
            _show_all(console, list(SPECIES.values()))
        return 0
    species = species_of(args.name)
    if args.json:
        console.json(_document(species, moisture))
    else:
        _show_one(console, species, moisture)
    return 0


def _moisture(args: argparse.Namespace) -> float:
    """The moisture content that is asked for. [percent]"""
    from pithline.trade.emc import equilibrium_moisture_c, equilibrium_moisture_f

    if (args.air is None) != (args.humidity is None):
        raise InputError('--air and --humidity go together, such as --air "20 C" --humidity 45.')
    if args.air is None:
        moisture = USUAL_MOISTURE if args.to is None else args.to
        if not 0.0 <= moisture <= 30.0:
            raise InputError(f"--to is {moisture:g}; wood shrinks below 30 %, so write a percentage from 0 to 30.")
        return float(moisture)
    if args.to is not None:
        raise InputError("--to states the moisture content and --air finds it; use one of them.")
    number, _, unit = args.air.strip().replace("°", " ").rpartition(" ")
    try:
        temperature = float(number)
    except ValueError:
        unit = ""
    if unit.upper() not in ("C", "F"):
        raise InputError(f'--air is "{args.air}"; write a temperature with its unit, such as "20 C" or "68 F".')
    celsius = temperature if unit.upper() == "C" else (temperature - 32.0) / 1.8
    if not (-10.0 <= celsius <= 100.0 and 0.0 <= args.humidity <= 100.0):
        raise InputError("--air lies between -10 and 100 C and --humidity between 0 and 100; mend them.")
    at = equilibrium_moisture_c if unit.upper() == "C" else equilibrium_moisture_f
    return at(temperature, args.humidity / 100.0)


def _document(species: Species, moisture: float) -> dict[str, Any]:
    return {
        "name": species.name,
        "latin": species.latin,
        "shrink_radial_percent": round(100.0 * species.shrink_radial, 4),
        "shrink_tangential_percent": round(100.0 * species.shrink_tangential, 4),
        "bark_ratio": species.bark_ratio,
        "bark_ratio_error": species.bark_ratio_error,
        "sapwood_most": species.sapwood_most,
        "green_density": species.green_density,
        "sources": {
            name: {"text": source.text, "standing": source.standing} for name, source in species.sources.items()
        },
        "moisture_percent": round(moisture, 2),
        "by_ring_angle": [
            {"ring_angle_deg": angle, "width_percent": width, "thickness_percent": thickness, "corner_deg": corner}
            for angle, width, thickness, corner in _drying(species, moisture)
        ],
    }


def _drying(species: Species, moisture: float) -> list[tuple[float, float, float, float]]:
    """Ring angle [deg], loss of width and thickness [percent], turn of a square corner [deg], from green to `moisture`."""
    from pithline.trade.shrinkage import corner_turn, face_shrinkage, shrinkage_at

    radial = shrinkage_at(species.shrink_radial, moisture)
    tangential = shrinkage_at(species.shrink_tangential, moisture)
    rows = []
    for degrees in RING_ANGLES_DEG:
        angle = math.radians(degrees)
        width, thickness = face_shrinkage(angle, radial, tangential)
        corner = abs(math.degrees(corner_turn(angle, radial, tangential)))
        rows.append((degrees, round(100.0 * width, 3), round(100.0 * thickness, 3), round(corner, 3)))
    return rows


def _show_all(console: Console, woods: list[Species]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    columns = ("wood", "radial", "tangential", "sapwood, mm", "bark", "kg/m³ green")
    title = "Woods: shrinkage in percent, green to ovendry; bark in percent of the radius"
    table = Table(*columns, title=title, title_justify="left", box=SIMPLE_HEAD)
    for wood in woods:
        table.add_row(
            wood.name,
            _marked(wood, "shrink_radial", f"{100.0 * wood.shrink_radial:.1f}"),
            _marked(wood, "shrink_tangential", f"{100.0 * wood.shrink_tangential:.1f}"),
            _marked(wood, "sapwood_most", f"{wood.sapwood_most:.0f}"),
            _marked(wood, "bark_ratio", f"{100.0 * (1.0 - wood.bark_ratio):.0f}"),
            _marked(wood, "green_density", f"{wood.green_density:.0f}"),
        )
    console.show(table)
    console.show("* from memory. pithline species NAME tells each value's source, and what the wood does as it dries.")


def _marked(species: Species, name: str, words: str) -> str:
    """A value in words, starred where it stands from memory alone."""
    return words + (" *" if species.sources[name].standing == "memory" else "")


def _show_one(console: Console, species: Species, moisture: float) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from pithline.trade.grain import angle_of_one_in, strength_kept
    from pithline.trade.ring_names import DEFINITIONS, ring_names
    from pithline.trade.shrinkage import change_coefficient, size_change

    table = Table(
        "value",
        "",
        "standing",
        "source",
        title=f"{species.name} ({species.latin})",
        title_justify="left",
        box=SIMPLE_HEAD,
    )
    for name, words in (
        ("shrink_radial", f"{100.0 * species.shrink_radial:.1f} %"),
        ("shrink_tangential", f"{100.0 * species.shrink_tangential:.1f} %"),
        ("bark_ratio", f"{species.bark_ratio:.2f} ± {species.bark_ratio_error:.2f}"),
        ("sapwood_most", f"{species.sapwood_most:.0f} mm"),
        ("green_density", f"{species.green_density:.0f} kg/m³"),
    ):
        table.add_row(name.replace("_", " "), words, species.sources[name].standing, species.sources[name].text)
    console.show(table)
    title = f"From green to {moisture:.1f} % moisture, by the angle of the rings to the face"
    drying = Table(
        "ring angle", "width", "thickness", "corner turns", "called", title=title, title_justify="left", box=SIMPLE_HEAD
    )
    for degrees, width, thickness, corner in _drying(species, moisture):
        names = {ring_names(math.radians(degrees), definition) for definition in DEFINITIONS}
        called = "/".join(sorted({name for some in names for name in some}))
        drying.add_row(f"{degrees:.0f}°", f"{width:.2f} %", f"{thickness:.2f} %", f"{corner:.2f}°", called)
    console.show(drying)
    moves = [
        size_change(200.0, change_coefficient(ovendry), *SEASON)
        for ovendry in (species.shrink_radial, species.shrink_tangential)
    ]
    console.show(
        f"200 mm across moves {moves[0]:.1f} mm quartersawn and {moves[1]:.1f} mm flat sawn between {SEASON[0]:.0f} and "
        f"{SEASON[1]:.0f} % moisture.\n"
        "Slope of grain and bending strength kept (any wood): "
        + ", ".join(
            f"1 in {n:.0f} ({math.degrees(angle_of_one_in(n)):.1f}°) {strength_kept(1.0 / n, 'bending'):.0f} %"
            for n in SLOPES_ONE_IN
        )
        + ". Names by ring angle differ by source: see docs/trade.md."
    )
