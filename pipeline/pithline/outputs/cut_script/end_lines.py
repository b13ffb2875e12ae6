"""The lines that are drawn on the ends of a log before it is sawn: which there are, and where each runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from shapely.geometry import LineString

from pithline.outputs.cut_script.document import Array, ScriptSetting, Tool
from pithline.outputs.cut_script.sawn_log import SawnLog, straight_parts
from pithline.outputs.cut_script.shop_measures import ShopMeasures
from pithline.outputs.ends import EndFace


@dataclass(frozen=True, slots=True, eq=False)
class EndLine:
    """One line on an end face: its `name`, the `sawn` stretches (n, 2) each, its bark points (2, 2)."""

    name: str
    sawn: tuple[Array, ...]
    points: Array


class LineGroup(NamedTuple):
    """Lines of one end that are drawn for one setting, under its title."""

    title: str
    lines: tuple[EndLine, ...]


def lined_settings(log: SawnLog, shop: ShopMeasures) -> list[ScriptSetting]:
    """The mill settings that lines are drawn for: those to come, and those sawn whose slabs are still ripped by ticks."""
    mill = [one for one in log.settings if one.tool is Tool.MILL]
    ticked = shop.ticked_settings(mill) if log.sawn else frozenset()
    return [one for one in mill if one.id not in log.sawn or one.id in ticked]


def lined_logs(log: SawnLog, settings: Sequence[ScriptSetting]) -> dict[str, list[ScriptSetting]]:
    """The settings of each log, whole or crosscut, that goes on the mill, by its id."""
    found: dict[str, list[ScriptSetting]] = {}
    for setting in settings:
        found.setdefault(log.own_log(setting.piece), []).append(setting)
    return found


def end_lines(log: SawnLog, shop: ShopMeasures, settings: Sequence[ScriptSetting], end: EndFace) -> list[LineGroup]:
    """Lines on one end by the setting they are for: the level line of the first, then every mill cut, then ticks.

    Parameters
    ----------
    log, shop : SawnLog, ShopMeasures
        The log as it is sawn.
    settings : sequence of Setting
        The mill settings of one log, in working order; at least one.
    end : EndFace
        One end of that log.
    """
    found = []
    first = next((one for one in settings if one.id not in log.sawn), settings[0])
    if first.marks is not None and first.up is not None and first.id not in log.sawn:
        level = end.line(first.up, float(first.up @ first.marks.on(end.name).point))
        if level is not None:
            found.append(LineGroup("Spirit level of the first setting", (EndLine("level", (), level),)))
    if edges := sawn_edges(log, settings, end):
        found.append(LineGroup("Sawn already: edges to lay these lines by", edges))
    ticked = shop.ticked_settings(settings)
    for setting in settings:
        part, planes = log.part_of_end(setting.piece, end), []
        if setting.id not in log.sawn:
            planes = [(str(log.cut_numbers[cut.id]), cut.normal, cut.offset) for cut in log.cuts_of(setting)]
        if setting.id in ticked:
            planes.append((shop.tick_name(setting), *shop.tick_plane(setting)))
        lines = []
        for name, normal, offset in planes:
            points = end.line(normal, offset)
            if points is not None:
                lines.append(EndLine(name, tuple(straight_parts(part.intersection(LineString(points)))), points))
        found.append(LineGroup(_title(log, setting), tuple(lines)))
    return found


def _title(log: SawnLog, setting: ScriptSetting) -> str:
    done = " (sawn): ticks for the rip saw on its slabs" if setting.id in log.sawn else ""
    return f"Setting {log.mill_numbers[setting.id]}: {log.kind(setting.piece)} {log.mark(setting.piece)}{done}"


def sawn_edges(log: SawnLog, settings: Sequence[ScriptSetting], end: EndFace) -> tuple[EndLine, ...]:
    """Where faces lie that pieces still to be sawn have already."""
    found: dict[str, EndLine] = {}
    for setting in settings:
        for face in log.faces(setting.piece):
            cut = log.cuts[face.cut]
            points = end.line(cut.normal, cut.offset)
            if cut.setting in log.sawn and cut.tool is Tool.MILL and points is not None:
                found[cut.id] = EndLine(str(log.cut_numbers[cut.id]), (), points)
    return tuple(found.values())

