"""The card's facts as a form asks for them: each with why it matters, and what it costs not to know it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Fact:
    """One key of the card: its place, how it is asked for, and why.

    Attributes
    ----------
    path : str
        Such as "bark.thickness".
    asked : str
        The field's label.
    kind : "length", "number", "date", "choice" or "flag"
    why : str
    example : str
        As people type it.
    options : tuple of (value, words)
        Of a choice.
    """

    path: str
    asked: str
    kind: Literal["length", "number", "date", "choice", "flag", "species"]
    why: str
    example: str = ""
    options: tuple[tuple[str, str], ...] = ()


FIRST = (
    Fact("log.species", "Wood", "species", "Decides bark, sapwood, shrinkage and weight wherever the card is silent."),
    Fact(
        "bark.thickness",
        "Bark, probed at both ends",
        "length",
        "Plates are counted from under the bark. Not known, the species' usual share is taken, and every plate near the bark is in doubt "
        "by as much as that may be wrong.",
        "11 mm, 7/16 in",
    ),
    Fact(
        "sapwood.thickness",
        "Sapwood under the bark",
        "length",
        "Parts that may hold no sapwood start inside it. Not known, the widest that the species has is kept off.",
        "24 mm, 1 in",
    ),
    Fact(
        "pith.radius",
        "Kept clear round the pith",
        "length",
        "Wood this near the pith checks and cups, and goes into no plate. Each 10 mm costs the widest backs about as much width.",
        "15 mm, 5/8 in",
    ),
    Fact(
        "ends.trim_butt",
        "Lost at the butt end",
        "length",
        "Checked or dirty wood there holds no plate. Too little, and plates come with checks.",
        "30 mm, 1 1/4 in",
    ),
    Fact("ends.trim_top", "Lost at the top end", "length", "The same at the other end.", "30 mm, 1 1/4 in"),
)
"""What changes a plan most, first."""

TAPE = (
    Fact(
        "tape.length",
        "Length by tape",
        "length",
        "Shows a scan out of scale: a scan 1 % too large promises plates that are not there.",
        "1.9 m, 6 ft 3 in",
    ),
    Fact(
        "tape.girth_butt",
        "Girth over bark, 100 mm from the butt",
        "length",
        "The same across the log, where the scan's underside was not seen.",
        "1527 mm, 60 1/8 in",
    ),
    Fact(
        "tape.girth_top",
        "Girth over bark, 100 mm from the top",
        "length",
        "The same at the other end.",
        "1490 mm, 58 5/8 in",
    ),
)
MORE = (
    Fact(
        "pith.error",
        "How far off a pith mark may be",
        "length",
        "The plan keeps a reserve for it. Not said, 3 mm.",
        "3 mm, 1/8 in",
    ),
    Fact(
        "grain.spiral_deg",
        "Spiral of the fibres, in degrees",
        "number",
        "Read off a check or a split; plus where fibres turn clockwise towards the top. Not known, none is taken, and plates may run out.",
        "2",
    ),
    Fact(
        "log.felled", "Felled on", "date", "For the appraisal: months in the yard bring checks and stain.", "2026-02-11"
    ),
    Fact("log.cost", "What it cost, or is asked for it", "number", "For the appraisal and the season.", "420"),
    Fact(
        "log.grown",
        "Where it grew",
        "choice",
        "Trees of yards and fence lines hold metal.",
        options=(
            ("", "not known"),
            ("forest", "in a forest"),
            ("yard", "in a yard"),
            ("fence line", "on a fence line"),
        ),
    ),
)
"""The rest."""

ALL = {fact.path: fact for fact in (*FIRST, *TAPE, *MORE)}

DEFECTS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "knot": (
        ("x", "From the butt end, along the log", "length"),
        ("clock_deg", "Clock angle in degrees, facing the butt end", "number"),
        ("diameter", "Its diameter at the surface", "length"),
    ),
    "check": (
        ("end", "From which end", "end"),
        ("clock_deg", "Clock angle in degrees, facing the butt end", "number"),
        ("length", "How far it reaches along the log", "length"),
        ("depth", "How deep from the surface", "length"),
    ),
    "metal": (
        ("x", "From the butt end, along the log", "length"),
        ("clock_deg", "Clock angle in degrees, facing the butt end", "number"),
        ("diameter", "The ball it may lie in", "length"),
        ("margin", "Kept clear round it", "length"),
    ),
    "rot": (
        ("end", "From which end", "end"),
        ("diameter", "Its diameter about the pith", "length"),
        ("length", "How far it reaches along the log", "length"),
    ),
}
"""What each kind of defect is told by: key, label, kind."""


def effect_words(before: dict[str, object] | None, after: dict[str, object], length: object) -> list[str]:
    """What a change did to the fit, in sentences. `length` writes a length [mm] in the yard's measures."""
    write = length if callable(length) else str
    if before is None:
        return ["The log is fitted anew."]
    found = []
    for key, words in (
        ("length", "the length"),
        ("diameter_butt", "the butt's diameter"),
        ("diameter_top", "the top's diameter"),
        ("pith_off_butt", "the pith's distance from the centre, at the butt"),
        ("pith_off_top", "the pith's distance from the centre, at the top"),
    ):
        old, new = float(str(before[key])), float(str(after[key]))
        if abs(new - old) >= 0.5:
            found.append(f"{words[:1].upper()}{words[1:]}: {write(old)} before, {write(new)} now.")
    old, new = float(str(before["volume"])), float(str(after["volume"]))
    if abs(new - old) >= 0.5:
        found.append(f"Wood under bark: {old:.0f} L before, {new:.0f} L now.")
    told, tells = before["cautions"], after["cautions"]
    assert isinstance(told, list) and isinstance(tells, list)
    found += [f"Settled: {one}" for one in told if one not in tells]
    found += [f"New: {one}" for one in tells if one not in told]
    return found or ["The fit is as it was; what changed counts in the plan."]
