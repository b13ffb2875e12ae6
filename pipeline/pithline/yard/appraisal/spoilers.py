"""The three things most likely to spoil a log: how much each takes off on the logs drawn, or is known of it.

Every spoiler is a sentence with a weight in money or litres; what cannot be weighed by regrading (iron stain) counts by a
stated share of the value.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pithline.files.priors import Priors
from pithline.logmodel.dimensions import diameters, sweep
from pithline.yard.appraisal.log_knowledge import LogKnowledge

STAIN_TAKES = 0.15
"""Share of the value that iron stain seen at an end puts in doubt; invented."""
ECCENTRIC = 0.1
"""From this share of the radius off the centre a pith is called eccentric; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Spoiler:
    """One thing that may spoil the log, in a sentence, and how much it takes off."""

    what: str
    takes: float
    stated: bool = False  # the card says so: it is always among the three


def in_words(spoiler: Spoiler, priced: bool) -> str:
    """The sentence with what it takes off on average, in money or in litres of plates; nothing where that is next to none."""
    takes = round(spoiler.takes, 0 if priced else 1)
    amount = f"{takes:.0f}" if priced else f"{takes:.1f} L"
    return f"{spoiler.what}: takes about {amount} off" if takes else spoiler.what


def spoilers(
    known: LogKnowledge, priors: Priors, value: float, without: Callable[[str], float], full: float
) -> list[Spoiler]:
    """The three that take most off.

    Parameters
    ----------
    known : LogKnowledge
        What is known of the log: what is known for sure spoils nothing.
    priors : Priors
        Which components are drawn.
    value : float
        Expected value of the plan, all components drawn. [money]
    without : callable
        component -> expected value where only that component is drawn and all else is as most likely. [money]
    full : float
        Value of the plan on the log as most likely. [money]
    """
    model, card = known.model, known.card
    middle = float(diameters(model, np.array([model.length / 2]), under_bark=True)[0])
    found = []

    def alone(component: str) -> float:
        return max(full - without(component), 0.0)

    bend = sweep(model)
    bow = float(np.hypot(bend, known.bow))
    words = f"sweep of {bend:.0f} mm" if known.basis != "tape" or bend else f"sweep of about {bow:.0f} mm, way unknown"
    doubt = f", by a string that may err by {known.bow:.0f} mm" if known.basis == "tape" and bend else ""
    found.append(
        Spoiler(
            f"{words} on {model.length / 1000:.1f} m ({bow / middle:.0%} of the diameter){doubt}",
            max(alone("bow"), full * max(bow / middle - 0.05, 0.0)),
        )
    )
    if known.spiral is not None:
        sd = np.degrees(known.spiral[1])
        found.append(Spoiler(f"spiral grain that nobody measured ({sd:.1f}° either way is usual)", alone("spiral")))
    elif card.spiral:
        found.append(
            Spoiler(f"spiral grain of {np.degrees(card.spiral):.1f}°", full * min(abs(np.degrees(card.spiral)) / 6, 1))
        )
    inside = (model.x >= 0) & (model.x <= model.length)
    off = float(np.linalg.norm((model.pith - model.centre)[inside], axis=1).max())
    lost = alone("pith") + alone("wander")
    if known.pith_marks == 0:
        found.append(Spoiler("a pith nobody has marked, taken at the centre", lost))
    elif 2 * off / middle > ECCENTRIC:
        words = f"an eccentric pith, {off:.0f} mm off the centre ({2 * off / middle:.0%} of the radius)"
        found.append(Spoiler(words, lost + full * (2 * off / middle - ECCENTRIC) / 2))
    else:
        found.append(Spoiler("a pith that wanders between its two marks", lost))
    months = f"{known.months:.0f} month{'' if round(known.months) == 1 else 's'}"
    age = f"{months} since felling" if known.months_told else "felling date unknown"
    found.append(Spoiler(f"end checks: {age}, ends {'coated' if known.coated else 'not coated'}", alone("checks")))
    if known.stained or known.yard_tree:
        found.append(_metal(known, priors, alone("metal"), full))
    count = len(model.suspected_knots)
    words = (
        f"{count} knot{'s' if count > 1 else ''} suspected from the bark" if count else "knots grown over and unseen"
    )
    found.append(Spoiler(words, alone("knots")))
    found.append(Spoiler("rot at the heart of the butt", alone("rot")))
    if not known.bark_known:
        found.append(Spoiler("bark thicker than the species' usual", alone("bark")))
    surface = alone("hidden") if known.basis != "tape" else alone("seen")
    where = (
        "the side that was not scanned" if known.basis != "tape" else "a section that is not round, unseen by the tape"
    )
    found.append(Spoiler(where, surface))
    first = sorted(found, key=lambda one: -one.takes)
    stated = [one for one in first if one.stated]
    kept = stated + [one for one in first if not one.stated][: 3 - len(stated)]
    return sorted(kept, key=lambda one: -one.takes)


def _metal(known: LogKnowledge, priors: Priors, drawn: float, full: float) -> Spoiler:
    """What the card tells of metal, in one sentence: stained ends, a yard or fence-line tree, or both."""
    share = known.metal_share(priors)
    stain = "dark stain at the ends, as iron leaves it" if known.stained else ""
    tree = "a yard or fence-line tree" if known.yard_tree else ""
    words = " on ".join(part for part in (stain, tree) if part)
    takes = drawn + priors.money.blade * share + (STAIN_TAKES * full if known.stained else 0.0)
    return Spoiler(f"{words}, so metal is likely (chance {share:.0%})", takes, stated=True)
