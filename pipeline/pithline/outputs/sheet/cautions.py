"""Cautions and rules. Each stands once, at the head of the part it is for; at a step stands only what is special there.

All defer to the maker's manual, local codes and licensed practice, which every foot says. A regulation is cited only where
its text was read; the rest is marked as common practice, "(c.p.)".
"""

from __future__ import annotations

FOOT = "Maker's manual, local codes and licensed practice come before this sheet. (c.p.): common practice, no source."
TWO_PEOPLE_KG = 23.0
"""Above this a piece is not lifted alone (common practice: 51 lb)."""
MACHINES_KG = 60.0
"""Above this no hands lift a piece (common practice, no source)."""

METAL = "Look and sweep for nails, wire and staples before the first cut, yard trees above all (c.p.)."
DUST = "Eyes, ears and breath protected: wood dust is carcinogenic (IARC Monograph 62, 1995); NIOSH limit 1 mg/m³."
WALNUT = "Walnut dust irritates; its shavings harm horses (c.p.)."
DOUBT = "Weights come from green density and may be 20 % off."

MILL_RULES = (
    "Chock both sides before a piece is let go. Never stand downhill of it or under a lifted one. Winch line and cant hook recoil (c.p.).",
    "Engine stopped and locked out before a hand or a tape goes between blade and log; solid blocks under the piece before the jack is "
    "let down (c.p.).",
    "Dogged before it is sawn (29 CFR 1910.265(e)(1)(viii)); nobody in line with the band.",
    "A heavy piece must not rest on the band: as the cut runs, wedge the kerf open behind the blade; then stop, and take the piece "
    "off before the next cut. A log opened from one side can spring or pinch: stop the mill before freeing it (c.p.).",
    "The marks rule: wedge until both stand at one height, set the blade from their mean; the scale only foretells. Ends that disagree "
    "by over 1° on level: stop. Left and right: facing the butt end.",
    "As a piece comes off, crayon its mark on the butt end, and the cut's number on both new faces: “face 7” is what cut 7 left. H half, "
    "S slab, B bolt, T billet, P plate, W offcut.",
)
CLEARANCE = (
    "**Clearance run first**: engine stopped and locked out, band taken off, head pushed once along the whole log by hand. If anything "
    "touches, do not saw (c.p.)."
)
BUCK_RULES = (
    "Log chocked so that it cannot roll; support close to both sides of every cut, so that it neither sags nor closes on the bar. "
    "Saw from above; drive a plastic wedge into the kerf behind the bar as it runs (c.p.).",
    "Chain brake on to start, both hands on the saw, nothing in the kickback zone; leg, eye, ear protection; local rules (c.p.).",
)
SHOP_RULES = (
    "Nothing round or wedge-shaped goes free-hand through a band saw: block, cradle or a sled that cannot turn; push stick; guards "
    "down (c.p.).",
    "Rip saw: first a straight edge to the fence or a straight-line sled; riving knife in line with the blade, anti-kickback fingers down; "
    "stand beside the line of the cut. Wood that closes on the blade is thrown back (c.p.).",
    "A strip thinner than a finger is not sawn off: it is left on (c.p.).",
)


def heavy(weight: float) -> str:
    """How a piece of `weight` kg is taken off, in a word or two; empty where one person may lift it."""
    if weight > MACHINES_KG:
        return "hoist off"
    return "two people" if weight > TWO_PEOPLE_KG else ""


def dust(species: str) -> str:
    """What the dust of a wood does."""
    return f"{DUST} {WALNUT}" if "walnut" in species.lower() else DUST
