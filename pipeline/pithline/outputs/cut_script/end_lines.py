"""The lines that are drawn on the ends of a log before it is sawn: which there are, and where each runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from shapely.geometry import LineString

from pithline.outputs.cut_script.document import Array, Kind, Saw, ScriptMark, ScriptSetting
from pithline.outputs.cut_script.sawn_pieces import SawnPieces, straight_parts
from pithline.outputs.cut_script.shop_measures import SawnPlane, ShopMeasures
from pithline.outputs.ends import EndFace

LEVEL_LINE = "level"
"""The line through the marks of a log's first setting, for the spirit level."""
ON_LINE = 0.6
"""A mark that lies this near to a cut's plane is on that cut's line. [mm]"""


@dataclass(frozen=True, slots=True, eq=False)
class EndLine:
    """One line on an end face.

    `points` are its two bark points (2, 2), `None` where it misses the face; `sawn` the stretches (n, 2) each along which a cut
    runs; `ticks` those where it is drawn to measure from and never sawn.
    """

    name: str
    points: Array | None
    sawn: tuple[Array, ...] = ()
    ticks: tuple[Array, ...] = ()


class LineGroup(NamedTuple):
    """Lines of one end that are drawn for one setting, under its title."""

    title: str
    lines: tuple[EndLine, ...]


class NamedPlane(NamedTuple):
    """A plane to be drawn as a line, and the pieces across whose ends it is: sawn there, or ticked."""

    name: str
    plane: SawnPlane
    sawn: tuple[str, ...] = ()
    ticked: tuple[str, ...] = ()


def lined_settings(log: SawnPieces, shop: ShopMeasures) -> list[ScriptSetting]:
    """The mill settings that lines are drawn for: those to come that are set by marks, and those whose slabs are ripped by ticks."""
    mill = [one for one in log.settings if one.tool is Saw.MILL]
    ticked = shop.ticked_settings(mill)
    return [one for one in mill if (one.marks is not None and one.id not in log.sawn) or one.id in ticked]


def lined_logs(log: SawnPieces, settings: Sequence[ScriptSetting]) -> dict[str, list[ScriptSetting]]:
    """The settings of each log, whole or crosscut, that goes on the mill, by its id."""
    found: dict[str, list[ScriptSetting]] = {}
    for setting in settings:
        found.setdefault(log.own_log(setting.piece), []).append(setting)
    return found


def end_lines(log: SawnPieces, shop: ShopMeasures, settings: Sequence[ScriptSetting], end: EndFace) -> list[LineGroup]:
    """Lines on one end by the setting they are for: the level line of the log's first, then marks, cuts and ticks of each.

    Parameters
    ----------
    log, shop : SawnPieces, ShopMeasures
        The log as it is sawn.
    settings : sequence of ScriptSetting
        The mill settings of one log that lines are drawn for, in working order; at least one.
    end : EndFace
        One end of that log.

    Returns
    -------
    list of LineGroup
        The same lines in the same order for both ends, also those that miss this one.
    """
    found = []
    first = next((one for one in settings if one.id not in log.sawn), settings[0])
    if (
        first.marks is not None
        and first.up is not None
        and first.id not in log.sawn
        and log.kind(first.piece) is Kind.LOG
    ):
        level = end.line(first.up, float(first.up @ first.marks.on(end.name).point))
        found.append(LineGroup("Spirit level of the first setting", (EndLine(LEVEL_LINE, level),)))
    if edges := sawn_edges(log, settings, end):
        found.append(LineGroup("Sawn already: edges to lay these lines by", edges))
    for setting in settings:
        lines = tuple(_line(log, end, one) for one in _planes(log, shop, setting, end))
        found.append(LineGroup(_title(log, setting), lines))
    return found


def _planes(log: SawnPieces, shop: ShopMeasures, setting: ScriptSetting, end: EndFace) -> Iterator[NamedPlane]:
    if setting.id not in log.sawn and setting.marks is not None:
        mark = setting.marks.on(end.name)
        if setting.up is not None and any(_needs_own_line(log, setting, one) for one in setting.marks.both):
            yield NamedPlane(
                mark_name(log, setting), SawnPlane(setting.up, float(setting.up @ mark.point)), ticked=(setting.piece,)
            )
        for cut in log.cuts_of(setting):
            yield NamedPlane(str(log.cut_numbers[cut.id]), SawnPlane(cut.normal, cut.offset), sawn=(setting.piece,))
    ripped = shop.ripped_by_ticks(setting)
    if ripped:
        yield NamedPlane(shop.tick_name(setting), shop.tick_plane(setting), ticked=ripped)


def _line(log: SawnPieces, end: EndFace, named: NamedPlane) -> EndLine:
    points = end.line(*named.plane)
    if points is None:
        return EndLine(named.name, None)
    crossed = LineString(points)

    def within(pieces: tuple[str, ...]) -> tuple[Array, ...]:
        return tuple(part for one in pieces for part in straight_parts(log.part_of_end(one, end).intersection(crossed)))

    return EndLine(named.name, points, within(named.sawn), within(named.ticked))


def _title(log: SawnPieces, setting: ScriptSetting) -> str:
    done = " (sawn): ticks for the rip saw on its slabs" if setting.id in log.sawn else ""
    return f"Mill {log.mill_numbers[setting.id]}: {log.kind(setting.piece)} {log.mark(setting.piece)}{done}"


# -- marks --------------------------------------------------------------------------------------------------------------


def mark_name(log: SawnPieces, setting: ScriptSetting) -> str:
    """What the line that a setting's marks stand on is called, where no cut runs along it."""
    return f"M{log.mill_numbers[setting.id]}"


def _cut_at(log: SawnPieces, setting: ScriptSetting, mark: ScriptMark) -> str | None:
    """The number of the cut whose line a mark lies on, the setting's own before any other's; `None` of none."""
    others = [cut for one in log.settings if one.marks is not None and one is not setting for cut in log.cuts_of(one)]
    for cut in (*log.cuts_of(setting), *others):
        if abs(float(cut.normal @ mark.point) - cut.offset) < ON_LINE:
            return str(log.cut_numbers[cut.id])
    return None


def _needs_own_line(log: SawnPieces, setting: ScriptSetting, mark: ScriptMark) -> bool:
    """Whether a mark lies neither on the pith nor on a line that is drawn anyway."""
    return mark.name != "pith" and _cut_at(log, setting, mark) is None


def mark_line_name(log: SawnPieces, setting: ScriptSetting, mark: ScriptMark) -> str:
    """A mark as the sawyer finds it: the pith, or a line by its name."""
    if mark.name == "pith":
        return "the pith"
    return f"line {_cut_at(log, setting, mark) or mark_name(log, setting)}"


def sawn_edges(log: SawnPieces, settings: Sequence[ScriptSetting], end: EndFace) -> tuple[EndLine, ...]:
    """Where faces lie that pieces still to be sawn have already."""
    found: dict[str, EndLine] = {}
    for setting in settings:
        for face in log.faces(setting.piece):
            cut = log.cuts[face.cut]
            points = end.line(cut.normal, cut.offset)
            if cut.setting in log.sawn and cut.tool is Saw.MILL and points is not None:
                found[cut.id] = EndLine(str(log.cut_numbers[cut.id]), points)
    return tuple(found.values())
