"""What follows from turning a planned log by hand, in words and as a picture; it runs in the process that keeps the tables at hand."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pithline.files.scripts import read_script
from pithline.outputs.cut_script.reader import read_products, read_totals
from pithline.outputs.formatting import Formatter, degrees, sentence
from pithline.outputs.results import results_of_totals
from pithline.shed.plan_view import PlateBox, drawn_end, figures_of, picture_of
from pithline.yard.what_if import HandLog, hand_log

QUARTER = 90
"""The log is turned so many degrees to either side of the plan's roll."""


@dataclass(frozen=True, slots=True)
class HandQuestion:
    """What is asked: the plan's script by its file and when that changed, and the choice.

    Attributes
    ----------
    script : str
    changed : int
        When the file did. [ns]
    units : str
    turned : float
        From the plan's roll. [°]
    first_slab : float, optional
        As pays where None. [mm]
    bolts : bool
        Whether bolts are sawn.
    closely : bool
        Whether slabs are looked at as finely as they are sawn, and cuts are chosen anew; else at once.
    """

    script: str
    changed: int
    units: str
    turned: float = 0.0
    first_slab: float | None = None
    bolts: bool = True
    closely: bool = False


@dataclass(frozen=True, slots=True)
class HandView:
    """What the page shows.

    Attributes
    ----------
    turned, roll_deg : float
        From the plan's roll, and the clock angle up at the first setting. [°]
    first_slabs : tuple of (mm, words)
        That can be chosen.
    curve : tuple of (degrees from the plan's roll, value)
        What every roll promises on the grid.
    unit : str
        Of the curve.
    figures : tuple of (name, words)
        What follows; empty where nothing pays.
    angles, limits : tuple of str
        Sentences on ring angles, and on the machines' limits.
    picture : str
        SVG of the butt end with the plates.
    looks : tuple of (part, colour, pattern)
        Of the picture.
    closely, anew : bool
        How it was looked at, and whether cuts were chosen anew.
    """

    turned: float
    roll_deg: float
    first_slabs: tuple[tuple[float, str], ...]
    curve: tuple[tuple[float, float], ...]
    unit: str
    figures: tuple[tuple[str, str], ...] = ()
    angles: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    picture: str = ""
    looks: tuple[tuple[str, str, int], ...] = ()
    closely: bool = False
    anew: bool = False


@lru_cache(maxsize=1)
def _opened(script: str, changed: int) -> HandLog:
    """The tables of one log; they hang on its script alone."""
    return hand_log(read_script(Path(script)))


def what_follows(asked: HandQuestion) -> HandView:
    """What follows from a choice.

    Raises
    ------
    PithlineError
        Where the script cannot be read, or nothing of the log pays.
    """
    hand, fmt = _opened(asked.script, asked.changed), Formatter(asked.units)
    roll = (hand.roll_deg + asked.turned) % 360.0
    slabs = tuple((value, fmt.length(value)) for value in hand.tables.thicknesses)
    shown = HandView(
        asked.turned,
        roll,
        slabs,
        _curve(hand, asked),
        "" if hand.tables.case.context.economics.objective.in_money else "L",
    )
    found = hand.answer(roll, asked.first_slab, asked.bolts, asked.closely)
    if found is None:
        return shown
    inputs = hand.own.inputs
    products = read_products(inputs.products_read)
    results = results_of_totals(read_totals(found["totals"]), products, hand.own.machines.mill.hour_rate)
    boxes = [
        PlateBox(one["corner"], one["edges"], f"{one['product']}, {one['part']}", one["passes"])
        for one in found["plates"]
    ]
    drawn = drawn_end(picture_of(hand.own.log.model, boxes, inputs.products_read), "turned by hand", "hand")
    return HandView(
        asked.turned,
        shown.roll_deg,
        slabs,
        shown.curve,
        shown.unit,
        tuple((name, words) for name, words in figures_of(results, fmt, products.currency)),
        _angles(found["angles"]),
        tuple(sentence(fmt.retold(text)) for text in found["limits"]),
        drawn["svg"],
        tuple((name, look[0], look[1]) for name, look in sorted(drawn["looks"].items())),
        asked.closely,
        found["anew"],
    )


def _curve(hand: HandLog, asked: HandQuestion) -> tuple[tuple[float, float], ...]:
    """The promise of every roll, by how far it is from the plan's."""
    rolls, promises = hand.tables.promises(asked.first_slab, asked.bolts)
    return tuple(
        (-QUARTER + 2.0 * QUARTER * k / len(rolls), round(float(value), 2)) for k, value in enumerate(promises)
    )


def _angles(found: dict[str, float | int | None]) -> tuple[str, ...]:
    """Ring angles and runout in sentences."""
    passing, failing = found["passing"], found["failing"]
    count = f"{passing} plates pass" + (f", {failing} do not." if failing else ".")
    if found["least"] is None or found["mean"] is None or found["runout"] is None:
        return (count,)
    return (
        count,
        f"Ring angles of those that pass: {degrees(round(found['mean'], 1))} on average, {degrees(round(found['least'], 1))} the least; "
        f"runout at most {degrees(round(found['runout'], 1))}.",
    )
