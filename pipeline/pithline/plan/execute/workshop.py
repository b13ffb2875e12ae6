"""The machines that one log is carried out on: how its pieces lie there, and what it weighs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pithline.geometry.pieces import Piece
from pithline.logmodel.model import LogModel
from pithline.mill.machine import Machines
from pithline.mill.sections import LogSections, PieceShape, log_sections, piece_shape
from pithline.plan.execute.bolt_holds import KnownHolds
from pithline.plan.execute.bucked_log import LogLayout, saw_log_layout
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.machine_setups import MachinePoser
from pithline.plan.execute.simulate import SawnToSlabs
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache
from pithline.plan.problem.effort import bolts_on_mill
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.task import SawingTask

Caches = Sequence[PlacesCache | None] | None
"""What was seen in each log's slabs; read and filled."""


@dataclass(frozen=True, slots=True)
class Workshop:
    """Machines, and one log's outlines on them.

    Attributes
    ----------
    machines : Machines
        Mill and saws.
    sections : LogSections
        The log's outlines.
    whole : PieceShape
        The log with its bark.
    density : float
        Of green wood. [kg/m³]
    holds : dict
        Ways to hold bolts that were found before; layouts that are tried one after another have most of their bolts in common.
    """

    machines: Machines
    sections: LogSections
    whole: PieceShape
    density: float
    holds: KnownHolds = field(default_factory=dict, repr=False, compare=False)

    @property
    def weight(self) -> float:
        """Of the log with its bark. [kg]"""
        return self.whole.volume * 1e-9 * self.density

    def poser(self, log: PlanLog) -> MachinePoser:
        """How pieces of the log, or of a shorter `log` crosscut from it, lie on the machines."""
        return MachinePoser(log, self.sections, self.machines, self.density, self.holds)

    def execute(self, log_layout: LogLayout, task: SawingTask, fill: FillRequest, caches: Caches = None) -> Ledger:
        """Carry a layout out on the real machines, crosscuts first."""
        return self.saw(log_layout, task, caches).filled(task, fill)

    def saw(self, log_layout: LogLayout, task: SawingTask, caches: Caches = None) -> SawnToSlabs:
        """Carry a layout out on the real machines up to its slabs, crosscuts first."""
        return saw_log_layout(log_layout, task, self.poser, self.weight, caches)


def workshop_of(model: LogModel, machines: Machines, density: float) -> Workshop:
    """A workshop for a fitted log; `density` of green wood [kg/m³]."""
    sections = log_sections(model)
    return Workshop(machines, sections, piece_shape(sections, Piece("log", "log"), bark=True), density)


def execute_as_drawn(log_layout: LogLayout, task: SawingTask, fill: FillRequest) -> Ledger:
    """Carry a layout out as drawn, with no look at how pieces lie on the machines."""

    def poser(log: PlanLog) -> DrawnPoser:
        return DrawnPoser(log, task.machines, bolts_on_mill(log, task.machines))

    return saw_log_layout(log_layout, task, poser, 0.0).filled(task, fill)
