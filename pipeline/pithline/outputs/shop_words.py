"""How a piece lies at a saw of the shop, what is measured from, and where each cut runs, in words."""

from __future__ import annotations

from typing import NamedTuple

from pithline.outputs.cut_script.document import Saw, ScriptSetting
from pithline.outputs.cut_script.kept import kept
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.cut_script.shop_measures import MeasuredFrom
from pithline.outputs.formatting import Formatter, degrees
from pithline.outputs.holding.arris import from_arris
from pithline.outputs.holding.pose import pose_of
from pithline.outputs.holding.sketch import is_owned
from pithline.outputs.print_job import PrintJob

SUPPORTS = {"fence": "at the fence", "cradle": "in a cradle", "v-blocks": "in V-blocks", "table": "on the table"}
FLAT_DEG = 0.05
"""Angles told apart from 0 and 90 degrees."""
NO_OFFSET = -0.25
"""A rip this little outside an edge is told as at it. [mm]"""
BY_LINE = "by its line"


class Bench(NamedTuple):
    """A setting in the shop: how its piece lies, what is measured from (empty where the face against the fence is), and
    the place of each cut.
    """

    lies: str
    measured_from: str
    places: tuple[str, ...]


@kept
def bench_of(job: PrintJob, setting: ScriptSetting) -> Bench:
    """A setting of the shop in words."""
    cuts, lies = job.log.cuts_of(setting), _lies(job.log, setting)
    if setting.tool is Saw.RIP:
        return _ripped(job, setting, lies)
    if setting.tool in (Saw.CROSSCUT, Saw.BUCK):
        places = tuple(job.fmt.length(job.shop.from_butt(setting, cut)) for cut in cuts)
        return Bench(lies, "from its butt end", places)
    if setting.against is not None and setting.against.angle > FLAT_DEG:
        return _on_its_block(job, setting, lies)
    found = [job.shop.from_fence(setting, cut) for cut in cuts]
    return Bench(lies, "", tuple(BY_LINE if one is None else job.fmt.fine(one) for one in found))


def _on_its_block(job: PrintJob, setting: ScriptSetting, lies: str) -> Bench:
    """A bolt at an angle to the blade: from arris A to the near side of each kerf."""
    facing = "" if pose_of(job.log, setting).end == "butt" else ", facing its top end"
    found, cuts = from_arris(job.log, setting), job.log.cuts_of(setting)
    if not found:
        return Bench(f"{lies}{facing}", "", (BY_LINE,) * len(cuts))
    ends = [[f"{job.fmt.length(abs(one))} {'right' if one > 0.0 else 'left'}" for one in found[cut.id]] for cut in cuts]
    places = tuple(butt if butt == top else f"{butt} | {top}" for butt, top in ends)
    return Bench(f"{lies}{facing}", "from arris A to the near side of the kerf", places)


def _lies(log: SawnPieces, setting: ScriptSetting) -> str:
    text = SUPPORTS.get(setting.support, setting.support)
    if setting.against is None:
        return text
    face, angle = log.cut_numbers[setting.against.face], setting.against.angle
    if angle > 90.0 - FLAT_DEG:
        return f"face {face} down"
    if angle < FLAT_DEG:
        return f"face {face} flat to the fence"
    held = f"in the {degrees(angle)} cradle" if is_owned(log, setting) else f"on a {degrees(angle)} block at the fence"
    return f"face {face} {held}"


def _ripped(job: PrintJob, setting: ScriptSetting, lies: str) -> Bench:
    """What a setting's rips are measured from, and each one's place."""
    cuts, reference = job.log.cuts_of(setting), job.shop.rip_references[setting.id]
    if reference is None:
        return Bench(lies, BY_LINE, (BY_LINE,) * len(cuts))
    ends = [job.shop.rip_distances(setting, reference, cut) for cut in cuts]
    if reference.edge is MeasuredFrom.TICKS:
        made = job.shop.mill_setting_of(setting.piece)
        source = f"from the line between its {job.shop.tick_name(made) if made else ''} ticks"
        texts = [[f"{job.fmt.length(abs(one))} {'right' if one >= 0.0 else 'left'}" for one in both] for both in ends]
    elif reference.edge is MeasuredFrom.CORNER:
        source = "from the left corner of its lower side, at each end"
        texts = [[job.fmt.length(one) for one in both] for both in ends]
    else:
        face = job.log.cut_numbers[reference.face]
        source = (
            f"from face {face}"
            if reference.edge is MeasuredFrom.FACE
            else f"from the {reference.side} arris of face {face}"
        )
        texts = [[_from_edge(job.fmt, one) for one in both] for both in ends]
    return Bench(lies, source, tuple(butt if butt == top else f"{butt} | {top}" for butt, top in texts))


def _from_edge(fmt: Formatter, value: float) -> str:
    """A distance from a sawn edge; a trimming cut's kerf begins outside it."""
    return fmt.length(value) if value > NO_OFFSET else f"{fmt.length(-value)} outside"
