"""Cautions, each for one step. All defer to the maker's manual, local codes and licensed practice (`LAW`, every foot)."""

from __future__ import annotations

LAW = ("The maker's manual, local codes and licensed practice come before this sheet wherever they "
       "differ.")  # fmt: skip
FOOT = "Maker's manual, local codes and licensed practice come before this sheet. (c.p.): common practice, no source."
LOCK_OUT = ("Engine stopped and locked out before a hand or a tape goes between blade and log. Solid blocks under "
            "the piece before the jack is let down. (c.p.)")  # fmt: skip
CLEARANCE = ("Clearance run first: engine stopped and locked out, band taken off, head pushed once along the "
             "whole log by hand. If anything touches, do not saw. (c.p.)")  # fmt: skip
DOGS = ("Dogged before it is sawn (29 CFR 1910.265(e)(1)(viii)); nobody in line with the band. A log opened from "
        "one side can spring or pinch: stop the mill before freeing it. (c.p.)")  # fmt: skip
ROLL = ("Chock both sides. Never stand downhill of a piece or under a lifted one. Winch line and cant hook recoil. "
        "(c.p.)")  # fmt: skip
TIPS = "It does not stand by itself: blocks or V-blocks on both sides before anyone lets go. (c.p.)"
HEAVY = "Over 23 kg (51 lb; NIOSH load constant, from memory): two people or a hoist."
MACHINES = "Too heavy for hands: loader, winch or hoist, and nobody in its path. (c.p.)"
DOUBT = "Weights are from green density and may be 20 % off (FPL Technical Note 218, 1931)."
ROUND = ("Nothing round or wedge-shaped goes free-hand through a band saw: V-blocks, cradle or a sled that "
         "cannot turn; push stick; guards down. (c.p.)")  # fmt: skip
CHAIN = ("Chain brake on to start, both hands on the saw, log chocked so that it cannot roll, nothing in the "
         "kickback zone; leg, eye and ear protection. Local chain-saw rules. (c.p.)")  # fmt: skip
METAL = "Look and sweep for nails, wire and staples before the first cut, yard trees above all. (c.p.)"
GUARDS = ("Guards on; eyes, ears and breath protected. Wood dust is carcinogenic (IARC Monograph 62, 1995); NIOSH "
          "limit 1 mg/m³. Walnut dust irritates; its shavings harm horses (from memory).")  # fmt: skip

TWO_PEOPLE_KG = 23.0
"""Above this a piece is not lifted alone (NIOSH load constant, from memory)."""
MACHINES_KG = 60.0
"""Above this no hands lift a piece (common practice, no source)."""


def heavy(weight: float) -> str:
    """How a piece of `weight` kg is moved; empty where one person may lift it."""
    if weight > MACHINES_KG:
        return MACHINES
    return HEAVY if weight > TWO_PEOPLE_KG else ""
