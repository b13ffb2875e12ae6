"""Cautions, each for one step. All defer to the maker's manual, local codes and licensed practice."""

from __future__ import annotations

LOCK_OUT = ("Engine stopped and locked out before a hand or a tape goes between blade and log. "
            "Follow the maker's manual. (common practice)")  # fmt: skip
CLEARANCE = ("Clearance run first: engine stopped and locked out, band taken off, head pushed once along the "
             "whole log by "
             "hand. If anything touches, do not saw. (common practice)")  # fmt: skip
DOGS = ("Held by dogs while it is sawn (29 CFR 1910.265(e)(1)(viii)); hands off, nobody in line with the band. "
        "Wood under tension can spring or pinch. (common practice)")  # fmt: skip
ROLL = ("Chock both sides. Never stand downhill of a log or under a lifted piece; keep clear of winch line "
        "and cant hook, "
        "they recoil. (common practice)")  # fmt: skip
BLOCKS = "Solid blocks under the piece before the jack is let down. (common practice)"
HEAVY = ("Over 23 kg (51 lb): two people or a hoist (load constant of the NIOSH lifting equation, from memory); "
         "green weight may differ by 20 % (FPL Technical Note 218, 1931).")  # fmt: skip
ROUND = ("Nothing round or wedge-shaped goes free-hand through a band saw: V-blocks, cradle or a sled that "
         "cannot turn, "
         "push stick, guards down. Maker's manual first. (common practice)")  # fmt: skip
CHAIN = ("Chain brake on to start, both hands on the saw, log chocked so that it cannot roll, nothing in the "
         "kickback zone. "
         "Maker's manual and local chain-saw rules. (common practice)")  # fmt: skip
METAL = "Look and sweep for nails, wire and staples before the first cut, yard trees above all. (common practice)"
GUARDS = ("Guards on; eyes, ears and breath protected. Wood dust is carcinogenic (IARC Monograph 62, 1995); "
          "NIOSH limit "
          "1 mg/m³. Walnut dust irritates and its shavings harm horses (from memory).")  # fmt: skip
LAW = ("The maker's manual, local codes and licensed practice come before this sheet wherever they "
       "differ.")  # fmt: skip

TWO_PEOPLE_KG = 23.0
"""Above this a piece is not lifted alone (NIOSH load constant, from memory)."""
