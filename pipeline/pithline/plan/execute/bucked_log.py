"""A log crosscut into shorter logs, each with its layout, carried out together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.simulate import Poser, Shop, execute_layouts, uncut_log
from pithline.plan.execute.slab_layout import SlabCache
from pithline.plan.problem.layout import LayoutSetting
from pithline.plan.problem.log_frame import PlanLog, shorter_log


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
    setting = ledger.setting("buck", "log", True, 0.0, support="cradle", against=None)
    setting["weight_kg"] = weight
    rest, base = ledger.pieces["log"], float(whole.axis @ whole.origin)
    made = []
    for number, place in enumerate(places, start=1):
        last = number == len(places)
        above = (f"log-{number + 1}" if last else ledger.fresh("rest-"), "log")
        rest, below = ledger.cut(setting, rest, whole.axis, base + place, kerf, above, (f"log-{number}", "log"))
        made.append(below)
    return ledger, tuple(shorter_log(whole, piece) for piece in (*made, rest))


def execute_log_layout(
    log_layout: LogLayout,
    shop: Shop,
    poser: Callable[[PlanLog], Poser],
    weight: float,
    reserve: bool = True,
    memories: Sequence[SlabCache | None] | None = None,
) -> Ledger:
    """Carry a sawing out, crosscuts first; `poser` makes one for each log, `memories` hold what was seen in each."""
    ledger, logs = crosscut_log(log_layout.whole, log_layout.places, shop.machines.buck.kerf, weight)
    return execute_layouts(
        ledger,
        [(log, layout, poser(log)) for log, layout in zip(logs, log_layout.layouts, strict=True)],
        shop,
        reserve,
        memories,
    )
