"""The fit against what the card and common sense say: scale and tape measures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pithline.errors import FitError, InputError
from pithline.logmodel.bark_thickness import girth_error
from pithline.logmodel.card import Card
from pithline.logmodel.dimensions import GIRTH_INSET, girth
from pithline.logmodel.model import LogModel
from pithline.units import SCAN_UNITS

Array = NDArray[np.float64]

THIN, THICK = 60.0, 2500.0
"""No sawlog is thinner or thicker. [mm]"""
SMALL_SCAN, LARGE_SCAN = 600.0, 60_000.0
"""No scan of a log spans less or more, strays aside. [mm]"""
SPAN_POINTS = 200_000
"""Points that the span of a large scan is told from."""
CAUTION, REFUSAL = 0.01, 0.03
"""By how much tape and fit may differ before a caution, and before an error."""
LENGTH_ERROR = 3.0
GIRTH_ERROR = 4.0
"""Standard errors of a taped length and girth. [mm] Common practice: a tape is read to some millimetres on bark."""
UNSEEN_SLACK = 30.0
"""What an end face that was not scanned adds at least to what is refused of a length. [mm]"""


class ScaleError(FitError):
    """A scan or a log of an absurd size, and what sets it right.

    Parameters
    ----------
    found : str
        What was found, ending before a colon.
    card : Card
    units : sequence of str
        Units in which the size would be a log's, the likeliest first; maybe none.
    """

    def __init__(self, found: str, card: Card, units: Sequence[str] = ()) -> None:
        self.found, self.units, self.taken = found, tuple(units), card.scan_units
        if card.reference is not None:
            advice = "check the reference length on the card."
        elif units:
            advice = (
                f'the scan is likely in {units[0]}; put scan_units = "{units[0]}" on the card (it says "{self.taken}").'
            )
        else:
            advice = "put the scan's unit (scan_units) or a reference length on the card."
        super().__init__(f"{found}: {advice}")

    def before_card(self) -> FitError:
        """The same where there is no card yet, and the command says the unit."""
        taken = f"(it was taken in {self.taken})."
        if self.units:
            return FitError(f"{self.found}: the scan is likely in {self.units[0]}; add --units {self.units[0]} {taken}")
        return FitError(f"{self.found}: say the unit of the scan with --units {taken}")


def check_span(points: Array, card: Card, scale: float) -> None:
    """Refuse a scan far too small or large to hold a log, naming the unit it is likely in.

    Parameters
    ----------
    points : (n, 3) array
        In scan units.
    """
    low, high = np.quantile(points[:: max(1, len(points) // SPAN_POINTS)], [0.01, 0.99], axis=0)
    span = float((high - low).max()) * scale
    if not SMALL_SCAN <= span <= LARGE_SCAN:
        units = _units(span / scale, card, (1000.0, 10_000.0))
        raise ScaleError(f"the scan spans {_size(span)}, which is no log", card, units)


def check_thickness(radius: float, card: Card, scale: float) -> None:
    """Refuse a log far too thin or thick, naming the likely unit."""
    if not THIN <= 2.0 * radius <= THICK:
        units = _units(2.0 * radius / scale, card, (150.0, 1500.0))
        raise ScaleError(f"the log in the scan is {_size(2.0 * radius)} thick", card, units)


def _size(length: float) -> str:
    return f"{length:.0f} mm" if length < 2000.0 else f"{length / 1000.0:.0f} m"


def _units(raw: float, card: Card, within: tuple[float, float]) -> list[str]:
    """Other units in which `raw`, a size in scan units, lies within such lengths [mm], the likeliest first."""
    least, most = within
    middle = np.sqrt(least * most)
    fitting = [unit for unit in SCAN_UNITS if least <= raw * SCAN_UNITS[unit] <= most and unit != card.scan_units]
    return sorted(fitting, key=lambda unit: abs(np.log(raw * SCAN_UNITS[unit] / middle)))


def compare_with_tape(card: Card, model: LogModel, seen: tuple[bool, bool]) -> list[str]:
    """Cautions where tape measures on the card and the fit differ beyond two standard errors and 1 %.

    Parameters
    ----------
    seen : two bools
        Whether the butt and the top face were scanned; a length is only compared where both were.

    Raises
    ------
    InputError
        Where they differ beyond 3 %.
    """
    inset = min(GIRTH_INSET, 0.5 * model.length)
    cautions = []
    if card.tape_length is not None:
        error = float(np.hypot(LENGTH_ERROR, model.stderr_length))
        slack = 0.0 if all(seen) else max(UNSEEN_SLACK, 2.0 * model.stderr_length)
        cautions += _compare("length", card.tape_length, model.length, error, slack)
    for name, taped, x in (
        ("girth_butt", card.tape_girth_butt, inset),
        ("girth_top", card.tape_girth_top, model.length - inset),
    ):
        if taped is not None:
            doubt = float(np.interp(x, model.x, girth_error(card, model.radius_over_bark, model.stderr_radius)))
            cautions += _compare(name, taped, girth(model, x), float(np.hypot(GIRTH_ERROR, doubt)), 0.0)
    return cautions


def check_defects(card: Card, model: LogModel) -> None:
    """Refuse a defect that the card places beyond the log.

    Raises
    ------
    InputError
    """
    for number, defect in enumerate(card.defects, 1):
        if defect.x is not None and defect.x > (1.0 + REFUSAL) * model.length:
            raise InputError(
                f"defect {number} ({defect.kind}) has x {defect.x:.0f} mm but the log is {model.length:.0f} mm long; "
                "measure it again from the butt."
            )


def _compare(name: str, taped: float, fitted: float, error: float, slack: float) -> list[str]:
    apart = abs(taped - fitted)
    words = f"tape.{name} is {taped:.0f} mm but the scan gives {fitted:.0f} mm"
    if apart > REFUSAL * taped + slack:
        percent = 100.0 * (fitted / taped - 1.0)
        raise InputError(f"{words} ({percent:+.1f} %); measure again, or check scan_units and the scan's scale.")
    if apart > 2.0 * error and apart > CAUTION * taped:
        return [f"{words}: more than both measures allow. Check the tape and the scan's scale."]
    return []
