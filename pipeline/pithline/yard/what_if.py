"""A planned log turned by hand: what follows from another roll, another first slab, or bolts left whole, told at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pithline.errors import PlanError
from pithline.files.cards import card_from
from pithline.files.mills import mill_from
from pithline.files.practice import read_practice
from pithline.files.products import products_from
from pithline.logmodel.document import model_from_json
from pithline.plan.api import (
    AT_ONCE,
    CLOSELY,
    SILENT,
    HandChoice,
    HandTables,
    Ledger,
    Monitor,
    Objective,
    Plate,
    hand_tables,
    layout_of_script,
    sum_up,
    totals,
)
from pithline.script.schema import validate
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs, Request

OBJECTIVES = {str(one): one for one in Objective}


@dataclass(frozen=True, slots=True)
class HandLog:
    """A planned log with its tables."""

    own: PreparedLog
    tables: HandTables

    @property
    def roll_deg(self) -> float:
        """The plan's own clock angle up at its first setting. [°]"""
        return float(np.degrees(self.tables.roll))

    def answer(
        self, roll_deg: float, first_slab: float | None = None, bolts: bool = True, closely: bool = True
    ) -> dict[str, Any] | None:
        """What follows from a choice; None where nothing at this roll pays.

        Parameters
        ----------
        roll_deg : float
            Clock angle up at the first setting. [°]
        first_slab : float, optional
            One of the tables' `thicknesses`; as pays where None. [mm]
        bolts : bool
            Whether bolts are sawn.
        closely : bool
            Slabs are looked at as finely as they are sawn, and cuts are chosen anew too, the better told; else the plan's own cuts
            where they will do, roughly and at once.

        Returns
        -------
        dict or None
            `totals` as a script has them; `plates`, each with its box, what it is and whether it passes; `angles`: least and mean
            ring angle and greatest runout of those that pass [°], how many pass and how many do not; `limits` of the machines, a
            sentence each; `anew`: whether cuts were chosen anew.
        """
        choice = HandChoice(float(np.radians(roll_deg)), first_slab, bolts)
        fine = CLOSELY if closely else AT_ONCE
        planned = self.tables.as_planned(choice, fine)
        chosen = self.tables.chosen_anew(choice, fine) if closely or planned is None else None
        found = max((one for one in (planned, chosen) if one is not None), key=lambda one: one.worth, default=None)
        if found is None or not found.ledger.passing:
            return None
        ledger, inputs = found.ledger, self.own.inputs
        told = totals(sum_up(ledger, self.own.parts, inputs.products, {"log": 0.0}), inputs.products, self.own.machines)
        return {
            "totals": told,
            "plates": [self._plate(plate) for plate in ledger.plates],
            "angles": _angles(ledger),
            "limits": _limits(ledger),
            "anew": found is chosen,
        }

    def _plate(self, plate: Plate) -> dict[str, Any]:
        part = self.own.parts[plate.part]
        return {
            "corner": plate.corner,
            "edges": np.array(plate.edges),
            "product": part.product,
            "part": part.part.name,
            "passes": bool(plate.passes),
        }


def hand_log(script: Mapping[str, Any], monitor: Monitor = SILENT) -> HandLog:
    """Look at the log that a cut script carries, for turning it by hand.

    Parameters
    ----------
    script : mapping
        The plan's, whose card, mill and products hold.
    monitor : Monitor
        Hears how far it is.

    Raises
    ------
    ScriptError
        Where it is no cut script.
    PlanError
        Where no plate passes, or no setting pays.
    """
    validate(script)
    read, log = script["inputs"], script["log"]
    products = products_from(read["products"])
    wanted = mill_from(read["mill"]), products, read_practice(None)
    hashes = log["card_sha256"], log["scan_sha256"]
    inputs = Inputs(card_from(read["card"]), *wanted, read["card"], read["mill"], read["products"], *hashes)
    own = prepare_log(model_from_json(dict(script["model"])), inputs)
    objective = OBJECTIVES.get(str(script["proof"].get("asks_for", "")), Objective.SETS)
    plan = layout_of_script(script, own.log, own.machines.buck.kerf)
    if plan is None:
        raise PlanError(f"{log['id']}: this plan saws nothing, so there is nothing to turn.")
    return HandLog(own, hand_tables(own.case(Request(objective)), plan, monitor))


def _angles(ledger: Ledger) -> dict[str, float | int | None]:
    """Ring angles and runout of the plates that pass, and how many plates do not."""
    passing = ledger.passing
    if not passing:
        return {"least": None, "mean": None, "runout": None, "passing": 0, "failing": len(ledger.plates)}
    return {
        "least": float(np.degrees(min(plate.grade.ring_min for plate in passing))),
        "mean": float(np.degrees(np.mean([plate.grade.ring_mean for plate in passing]))),
        "runout": float(np.degrees(max(plate.grade.runout for plate in passing))),
        "passing": len(passing),
        "failing": len(ledger.plates) - len(passing),
    }


def _limits(ledger: Ledger) -> list[str]:
    """What the machines refuse or ask for, once each."""
    found = [*ledger.cautions, *(text for setting in ledger.settings for text in setting.cautions)]
    return list(dict.fromkeys(found))
