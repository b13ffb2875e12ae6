"""A fitted log made ready to be planned: the planner's frame of it, the machines it is carried out on, whether the mill holds it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pithline.geometry.pieces import Piece
from pithline.logmodel.model import LogModel
from pithline.logmodel.species import species_of
from pithline.mill.limits import log_fits, widest_across
from pithline.mill.machine import Machines
from pithline.mill.sections import piece_shape
from pithline.plan.api import (
    Economics,
    Objective,
    PlanCase,
    PlanLog,
    SawingTask,
    SawnPart,
    SearchContext,
    Workshop,
    economics_of,
    plan_log,
    plate_kinds,
    plates_wanted,
    sawn_parts,
    workshop_of,
)
from pithline.yard.request import Inputs, Request


@dataclass(frozen=True, slots=True)
class PreparedLog:
    """What planner and machines need of one log, seen once.

    Attributes
    ----------
    log : PlanLog
        In the planner's frame.
    workshop : Workshop
        The machines it is carried out on.
    parts : tuple of SawnPart
        What it may be sawn into.
    widest : float
        Greatest width over bark, stubs left out. [mm]
    inputs : Inputs
        What was read for it.
    """

    log: PlanLog
    workshop: Workshop
    parts: tuple[SawnPart, ...]
    widest: float
    inputs: Inputs

    @property
    def machines(self) -> Machines:
        """What it is sawn with."""
        return self.inputs.machines

    def check(self, crosscut: bool = False) -> None:
        """Refuse a log that the mill cannot hold; one that may be `crosscut` first may be of any length.

        Raises
        ------
        MillError
            Names the limit.
        """
        mill, length = self.machines.mill, self.log.model.length
        if crosscut:
            mill = replace(mill, log_length_max=max(mill.log_length_max, length))
        log_fits(self.workshop.whole, self.widest, length, mill, self.inputs.card.id)

    def economics(self, objective: Objective) -> Economics:
        """What is sold of it, and what work costs, under an objective."""
        kinds = plate_kinds(self.parts, self.inputs.card.figures, self.log.model.length)
        return economics_of(objective, self.parts, self.inputs.products, self.machines, kinds)

    def task(self, objective: Objective) -> SawingTask:
        """All that is wanted of it."""
        return SawingTask(self.machines, self.parts, self.economics(objective), plates_wanted(self.parts))

    def case(self, request: Request) -> PlanCase:
        """The log as a case for the planner."""
        priced = any(product.price > 0.0 for product in self.inputs.products.products)
        context = SearchContext(
            self.task(request.objective),
            request.effort,
            request.seed,
            request.bucking,
            request.locks,
            self.economics(Objective.VALUE) if priced else None,
        )
        return PlanCase(self.log, context, self.workshop)


def prepare_log(model: LogModel, inputs: Inputs) -> PreparedLog:
    """A fitted log with its card's pith, trims and defects, on these machines."""
    card = inputs.card
    workshop = workshop_of(model, inputs.machines, species_of(card.species).green_density)
    bare = piece_shape(workshop.sections, Piece("log", "log"), bark=False)
    bark = float((model.radius_over_bark - model.radius_under_bark).max())
    return PreparedLog(
        plan_log(model, card.pith_radius, card.trim_butt, card.trim_top, card.defects),
        workshop,
        sawn_parts(inputs.products, card.species),
        widest_across(bare)[0] + 2.0 * bark,
        inputs,
    )
