"""A fitted log made ready to be planned: the planner's frame of it, its outlines, and whether the mill holds it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pithline.geometry.pieces import Piece
from pithline.logmodel.model import LogModel
from pithline.logmodel.species import species_of
from pithline.mill.limits import log_fits, widest_across
from pithline.mill.sections import LogSections, PieceShape, log_sections, piece_shape
from pithline.plan.execute.machine_setups import MachinePoser
from pithline.plan.execute.simulate import Poser
from pithline.plan.problem.log_frame import PlanLog, plan_log
from pithline.yard.request import Inputs


@dataclass(frozen=True, slots=True)
class PreparedLog:
    """What planner and machines need of one log, seen once. Lengths mm."""

    log: PlanLog
    sections: LogSections
    whole: PieceShape  # with its bark
    widest: float  # over bark
    density: float  # green [kg/m³]
    inputs: Inputs

    @property
    def weight(self) -> float:
        """Of the log with its bark. [kg]"""
        return self.whole.volume * 1e-9 * self.density

    def check(self, crosscut: bool = False) -> None:
        """Refuse a log that the mill cannot hold; one that may be `crosscut` first may be of any length.

        Raises
        ------
        MillError
            Names the limit.
        """
        mill, length = self.inputs.machines.mill, self.log.model.length
        if crosscut:
            mill = replace(mill, log_length_max=max(mill.log_length_max, length))
        log_fits(self.whole, self.widest, length, mill, self.inputs.card.id)

    def poser(self, log: PlanLog) -> Poser:
        """How pieces of the log, or of a shorter `log` crosscut from it, lie on the machines."""
        return MachinePoser(log, self.sections, self.inputs.machines, self.density)


def prepare_log(model: LogModel, inputs: Inputs) -> PreparedLog:
    """A fitted log with its card's pith, trims and defects, on these machines."""
    card = inputs.card
    sections = log_sections(model)
    whole, bare = (piece_shape(sections, Piece("log", "log"), bark=bark) for bark in (True, False))
    bark = float((model.radius_over_bark - model.radius_under_bark).max())
    return PreparedLog(
        plan_log(model, card.pith_radius, card.trim_butt, card.trim_top, card.defects),
        sections,
        whole,
        widest_across(bare)[0] + 2.0 * bark,
        species_of(card.species).green_density,
        inputs,
    )
