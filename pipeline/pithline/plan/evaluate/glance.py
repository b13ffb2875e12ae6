"""A quick look at what one log gives by each of several product lists: the wood is looked at once for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from pithline.mill.products import Limits
from pithline.plan.class_answers import SeenWay
from pithline.plan.class_choice import bolt_classes
from pithline.plan.crosscut_search import CrosscutWay
from pithline.plan.evaluate.judge import Judge
from pithline.plan.evaluate.workbench import PlanCase
from pithline.plan.execute.bucked_log import crosscut_log
from pithline.plan.execute.ledger import Ledger
from pithline.plan.pricing.fills import GridFills
from pithline.plan.pricing.log_grid import LogGrid, log_grid, narrowed
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import Effort, bolts_on_mill, rolls_for
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.parts import SawnPart
from pithline.plan.search import price_start, search_seen

GLANCE = Effort(
    "glance",
    6,
    40.0,
    rounds=4,
    answers=1,
    master=1.0,
    firsts=2,
    halves=1,
    fine=2.0,
    depth_step=5.0,
    across_step=10.0,
    corner_step=20.0,
)
"""As rough as a search that tells whether crosscutting pays: what it finds is sawable, and a full search finds more."""

Kind = tuple[float, float, float, Limits]
"""What tells whether a plate passes at a place: length, width and thickness [mm], and limits."""


@dataclass(frozen=True, slots=True)
class Glance:
    """A log, or the shorter logs it is crosscut into, looked at for parts of all kinds that several lists ask for.

    Attributes
    ----------
    places : tuple of float
        Where it is crosscut. [mm]
    logs : tuple of PlanLog
        It, or what it is crosscut into.
    grids : tuple of LogGrid
        Of the logs, for one part of each kind.
    kinds : tuple
        Of these parts.
    """

    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]
    grids: tuple[LogGrid, ...]
    kinds: tuple[Kind, ...]

    def passing(self, parts: Sequence[SawnPart]) -> tuple[bool, ...]:
        """Whether plates of each part pass anywhere on the grid."""
        return tuple(self._passes(self.kinds.index(kind_of(part))) for part in parts)

    def _passes(self, kind: int) -> bool:
        return any(bool(roll[kind].any()) for grid in self.grids for roll in grid.places.some)

    def best(self, case: PlanCase, monitor: Monitor = SILENT) -> Ledger | None:
        """The best of what a quick search for a case's parts alone finds, carried out; None where nothing passes or pays.

        The case's parts are among those that were looked at. Bolts are sawn in the middle one of the shop's cradles.
        """
        context = case.context.with_effort(GLANCE)
        kinds = [self.kinds.index(kind_of(part)) for part in context.parts]
        grids = [narrowed(grid, context, kinds) for grid in self.grids]
        start = price_start(context.economics)
        on_mill = any(bolts_on_mill(one, context.machines) for one in self.logs)
        way = CrosscutWay(self.places, self.logs, 0.0, start)
        seen = SeenWay(way, grids, GridFills(grids), grids[0].grid.rolls, on_mill)
        classes = bolt_classes(context, on_mill)
        sawn = [one for one in classes if one.sawn] or list(classes)
        found, _ = search_seen(case.log, seen, context, sawn[len(sawn) // 2 :][:1], monitor)
        judge = Judge(context)
        ledgers = [case.execute(one.log_layout, one.prices, GLANCE.fine) for one in found]
        return max((ledger for ledger in ledgers if ledger.passing), key=judge.worth, default=None)


def kind_of(part: SawnPart) -> Kind:
    """What tells whether plates of a part pass at a place."""
    return part.length, part.width, part.thickness, part.limits


def glance(
    log: PlanLog,
    context: SearchContext,
    parts: Sequence[SawnPart],
    places: tuple[float, ...],
    monitor: Monitor = SILENT,
) -> Glance:
    """Look at a log, crosscut at `places`, for all the parts that several lists ask for.

    Parameters
    ----------
    log : PlanLog
        The whole log.
    context : SearchContext
        Its machines and locks hold; its own parts do not count.
    parts : sequence of SawnPart
        Of all lists; of those alike in size and limits one is looked at.
    places : tuple of float
        Kerf centres of the crosscuts. [mm]
    monitor : Monitor
        Hears how far it is.
    """
    one_of_each = {kind_of(part): part for part in parts}
    looked_for = tuple(one_of_each.values())
    economics = replace(context.economics, kinds=plate_kinds(looked_for))
    task = replace(context.task, parts=looked_for, economics=economics)
    asked = replace(context, task=task).with_effort(GLANCE)
    machines = context.machines
    logs = crosscut_log(log, places, machines.buck.kerf, 0.0)[1]
    rolls = rolls_for(GLANCE, machines, any(bolts_on_mill(one, machines) for one in logs))
    grids = []
    for number, one in enumerate(logs):
        looking = monitor.share(number, len(logs))
        grids.append(log_grid(one, asked, rolls, partial(looking.report, "looking at the wood")))
    return Glance(places, logs, tuple(grids), tuple(one_of_each))
