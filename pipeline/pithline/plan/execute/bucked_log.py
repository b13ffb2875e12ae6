"""A log crosscut into shorter logs, each with its layout, carried out together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pithline.plan.execute.ledger import Ledger, NewPiece, SawPlane
from pithline.plan.execute.simulate import PieceToSaw, Poser, SawnToSlabs, sawn_to_slabs, uncut_log
from pithline.plan.execute.slab_fill import PlacesCache
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, shorter_log
from pithline.plan.problem.operations import Setting, Support, Tool
from pithline.plan.problem.task import SawingTask


@dataclass(frozen=True, slots=True)
class LogLayout:
    """A log, or the shorter logs it is crosscut into from butt to top, each with its layout (None: left as it is).

    `places` are the crosscuts' kerf centres along the pith's chord of the whole log, from its butt end. [mm]
    """

    whole: PlanLog
    places: tuple[float, ...]
    logs: tuple[PlanLog, ...]
    layouts: tuple[LayoutSetting | None, ...]


def crosscut_log(
    whole: PlanLog, places: Sequence[float], kerf: float, weight: float
) -> tuple[Ledger, tuple[PlanLog, ...]]:
    """Crosscut a log square to its pith's chord in one setting; the ledger with it, and the logs from butt to top.

    Parameters
    ----------
    places : kerf centres along the chord from the butt end, rising. [mm]
    weight : of the log with its bark. [kg]
    """
    ledger = uncut_log()
    if not places:
        return ledger, (whole,)
    drafted = Setting(Tool.BUCK, "log", True, weight_kg=weight, support=Support.CRADLE, set_up=ledger.fresh("set-up-"))
    setting = ledger.open_setting(drafted)
    rest, base = ledger.pieces["log"], float(whole.axis @ whole.origin)
    made = []
    for number, place in enumerate(places, start=1):
        last = number == len(places)
        above = NewPiece(f"log-{number + 1}", "log") if last else ledger.named("rest-", "log")
        plane = SawPlane(whole.axis, base + place, kerf)
        rest, below = ledger.cut(setting, rest, plane, above, NewPiece(f"log-{number}", "log"))
        made.append(below)
    return ledger, tuple(shorter_log(whole, piece) for piece in (*made, rest))


def saw_log_layout(
    log_layout: LogLayout,
    task: SawingTask,
    poser: Callable[[PlanLog], Poser],
    weight: float,
    caches: Sequence[PlacesCache | None] | None = None,
) -> SawnToSlabs:
    """Carry a log's layout out up to its slabs, crosscuts first.

    Parameters
    ----------
    log_layout : LogLayout
        Where to crosscut, and the layout of each log.
    task : SawingTask
        Machines, parts and what is wanted of them.
    poser : callable
        Makes the poser of each log.
    weight : float
        Of the log with its bark. [kg]
    caches : sequence, optional
        What was seen in each log's slabs; read and filled.
    """
    ledger, logs = crosscut_log(log_layout.whole, log_layout.places, task.machines.buck.kerf, weight)
    seen = caches or [None] * len(logs)
    pieces = [
        PieceToSaw(log, log.piece, layout, poser(log), cache)
        for log, layout, cache in zip(logs, log_layout.layouts, seen, strict=True)
    ]
    return sawn_to_slabs(ledger, pieces, task)
