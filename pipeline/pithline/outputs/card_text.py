"""A new log card as text: what the fit knows filled in, the rest explained for the sawyer to fill in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pithline.logmodel.dimensions import GIRTH_INSET, coverage, sweep
from pithline.logmodel.model import LogModel
from pithline.units import format_mm

CARD = """\
# Log card of {id}, begun by `pithline card` from its scan.
# Fill in what you know and take the # from the lines you use. Lengths are text with a unit: "12 1/2 in", "32 cm".
#
# What the fit found (pith {pith}):
#   length {length} ± {length_error}, over-bark diameter {butt} at the butt and {top} at the top end, sweep {sweep},
#   {coverage:.0f} % of the girth seen. {butt_words}
# Both ends are drawn in {picture}, as seen facing them.

[log]
id = {id_text}
species = "black walnut"        # decides bark, sapwood, shrinkage and weight where the card is silent: put yours
scan = {scan_text}
scan_units = "{units}"              # the unit of the scan's coordinates: "m", "cm", "mm", "in", "ft",
                                # or "tape": no scale, so that [tape] length sets it
{up_mark}up = "{up}"                     # the scan's axis that points up{up_words}
# butt = "min"                  # which end along the axis is the butt: "min" or "max", if it is not the one taken
# felled = 2026-01-31
# cost = 0                      # what the log cost, in your money
# A known length and what it measures in the scan, for scans without scale:
# reference = {{ length = "1 m", in_scan = 0.412 }}

[ends]
trim_butt = "25 mm"             # wood lost to checks and dirt at each end: look, and change
trim_top = "25 mm"
# Two points of the plumb line you drew through the pith, one on each end, in scan coordinates:
# twelve_butt = {{ xyz = [0.0, 0.0, 0.0] }}
# twelve_top = {{ xyz = [0.0, 0.0, 0.0] }}

[bark]
# thickness = "15 mm"           # gauged at both ends; else the species' usual relation is taken, with its doubt

[sapwood]
# thickness = "40 mm"

[grain]
# spiral_deg = 0                # of the fibres against the axis, where a check or a split shows it

[tape]
# Measured over the bark, girths 100 mm in from the ends; compared with the fit:
# length = "{length}"
# girth_butt = "{girth_butt}"
# girth_top = "{girth_top}"

[pith]
radius = "15 mm"                # wood this near the pith goes into no plate
# error = "5 mm"                # how well the marks are known
# Where the pith is on each end, facing it: by the grid of the picture or by tape, from the leftmost and topmost point
# over bark with the 12 o'clock line upright,
# butt = {{ from_left = "{butt_left}", from_top = "{butt_top}" }}
# top = {{ from_left = "{top_left}", from_top = "{top_top}" }}
# or from the pith to the bark along the arms of a plumb-and-level cross (two or more of them),
# butt = {{ up = "30 cm", right = "28 cm", down = "31 cm", left = "29 cm" }}
# or a point in scan coordinates: butt = {{ xyz = [0.0, 0.0, 0.0] }}
{knots}
# [[defect]]                    # metal found by the detector: a ball at the surface, and the margin to keep around it
# kind = "metal"
# x = "80 cm"
# clock_deg = 200
# diameter = "10 cm"
# margin = "5 cm"

# [[defect]]                    # a check: a crack from the end inwards, from the bark towards the pith
# kind = "check"
# end = "butt"
# clock_deg = 45
# length = "12 cm"
# depth = "8 cm"

# [[defect]]                    # rot about the pith, from an end inwards
# kind = "rot"
# end = "butt"
# diameter = "10 cm"
# length = "40 cm"
"""

KNOTS = """
# Defects. x is measured from the butt end along the log; clock_deg is the clock angle, 0 at 12 o'clock, clockwise as
# seen facing the butt end. {found}
"""
KNOT = """
# [[defect]]
# kind = "knot"
# x = "{x}"
# clock_deg = {clock:.0f}
# diameter = "{diameter}"
"""


@dataclass(frozen=True, slots=True)
class CardFacts:
    """What a new card says besides the model.

    The log's `name`, the `scan`'s path from the card, its unit, the axis that is up and whether the command `said_up`, the file name
    of the picture of both ends, and "butt" and "top" -> (from_left, from_top) of the pith line there. [mm]
    """

    name: str
    scan: str
    units: str
    up: str
    picture: str
    marks: Mapping[str, tuple[float, float]]
    said_up: bool = False


def card_text(facts: CardFacts, model: LogModel) -> str:
    """A commented log card."""
    inset = min(GIRTH_INSET, model.length / 2.0)
    girths = [_girth(model, inset), _girth(model, model.length - inset)]
    diameters = [girth / np.pi for girth in girths]
    suspected = model.suspected_knots
    found = "Swellings on the bark that may be knots:" if suspected else "No swelling that may be a knot was seen."
    knots = KNOTS.format(found=found) + "".join(
        KNOT.format(x=format_mm(knot.x), clock=np.degrees(knot.clock), diameter=format_mm(max(knot.diameter, 1.0)))
        for knot in suspected
    )
    return CARD.format(
        id=facts.name,
        id_text=json.dumps(facts.name, ensure_ascii=False),
        scan_text=json.dumps(facts.scan, ensure_ascii=False),
        units=facts.units,
        up=facts.up,
        up_mark="" if facts.said_up else "# ",
        up_words=", as the command was told" if facts.said_up else ", if the fit took another",
        butt_words=_butt_words(model, diameters),
        picture=facts.picture,
        pith="taken at the centre" if model.pith_assumed else "as marked",
        length=format_mm(model.length),
        length_error=format_mm(model.length_doubt),
        butt=format_mm(diameters[0]),
        top=format_mm(diameters[1]),
        sweep=format_mm(sweep(model)),
        coverage=100.0 * coverage(model),
        girth_butt=format_mm(girths[0]),
        girth_top=format_mm(girths[1]),
        butt_left=format_mm(facts.marks["butt"][0]),
        butt_top=format_mm(facts.marks["butt"][1]),
        top_left=format_mm(facts.marks["top"][0]),
        top_top=format_mm(facts.marks["top"][1]),
        knots=knots,
    )


def _butt_words(model: LogModel, diameters: list[float]) -> str:
    """Why the butt was taken to be where it is: nothing but the log's form has told it yet."""
    if any(one.kind == "butt" for one in model.findings):
        return "Which end is the butt is in doubt: look, and say it below."
    if diameters[0] >= diameters[1]:
        return "The butt was taken to be the thicker end."
    return "The butt was taken to be the end towards which the trunk thickens, though its very end is not the thicker."


def _girth(model: LogModel, x: float) -> float:
    """Over-bark girth of the circle of the same area at station x. [mm]"""
    radii = model.splines(model.radius_over_bark)(x)
    return float(2.0 * np.pi * np.sqrt(np.mean(radii**2)))
