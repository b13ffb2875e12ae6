"""How a piece lies on the mill, drawn to scale: facing the butt end, and from its right side along the bed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from pithline.outputs.paper import Pages, width_of
from pithline.outputs.reading import Script, rings
from pithline.outputs.sheet.lines import polygon
from pithline.outputs.words import Words

DRAWING = 178.0  # pt, height of both views
END_SHARE = 0.5  # of the width is the end view's
STATIONS = 13
BUNK = 7.0  # pt, height of a bunk: height 0 is its top, the bed's rails lie under it
LOW = 6.0
"""What of a section lies this near its lowest point rests on the bunk, bark giving way. [mm]"""


def lies(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    """Both views of one mill setting."""
    pages.room(DRAWING)
    up = np.array(setting["up"], float)
    right = np.cross(up, [-1.0, 0.0, 0.0])
    right /= np.linalg.norm(right)
    marks = [setting["marks"][end] for end in ("butt", "top")]
    level = float(np.mean([one["height"] for one in marks]) - np.mean([np.dot(one["point"], up) for one in marks]))
    cuts = [(reading.numbers[one["id"]], one["blade_height"]) for one in reading.cuts_of(setting)]
    _end_view(pages, reading, words, setting, (right, up, level), cuts)
    _side_view(pages, reading, words, setting, (right, up, level), cuts)
    pages.y -= DRAWING


def _bunk_station(reading: Script, setting: Mapping[str, Any], bunk: float) -> float:
    """Station of the log over a bunk."""
    return float(bunk - setting.get("butt_at", 0.0) + reading.ends(setting["piece"])[0].pith[0])


def _end_view(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any],
              pose: tuple[np.ndarray, np.ndarray, float], cuts: Sequence[tuple[int, float]]) -> None:  # fmt: skip
    """The section over the carrying bunk nearest the middle, bed and lift under it, cuts with their heights."""
    right, up, level = pose
    middle_x = float(np.mean(reading.stretch(setting["piece"])))
    bunk = min(setting["lifts"], key=lambda one: abs(_bunk_station(reading, setting, one["bunk"]) - middle_x),
               default={"bunk": middle_x, "lift": 0.0})  # fmt: skip
    x = _bunk_station(reading, setting, bunk["bunk"]) if setting["lifts"] else middle_x
    outlines = [ring + np.array([0.0, level]) for ring in rings(reading.section(setting["piece"], x, right, up))]
    if not outlines:
        return
    points = np.vstack(outlines)
    low, high = min(0.0, float(points[:, 1].min())), max([float(points[:, 1].max()), *[h for _, h in cuts]])
    wide = float(np.ptp(points[:, 0]))
    room = END_SHARE * pages.measure
    scale = min((DRAWING - 40.0) / (high - low), (room - 130.0) / wide)
    middle, base = pages.left + 20.0 + (room - 100.0) / 2.0, pages.y - DRAWING + 24.0
    shift = float(points[:, 0].max() + points[:, 0].min()) / 2.0
    canvas = pages.canvas
    half = wide / 2.0 * scale + 16.0
    bed = base - low * scale
    canvas.setLineWidth(2.0)
    canvas.line(middle - half, bed, middle + half, bed)
    pages.write(middle - half, bed - 10.0, "height 0: top of the bunk, no lift", 7.5)
    lift = float(bunk["lift"])
    foot = middle + (_foot(points)[0] - shift) * scale
    canvas.setLineWidth(0.8)
    canvas.setFillGray(0.8)
    if lift > 0.0:
        canvas.rect(foot - 20.0, bed, 40.0, lift * scale, fill=1)
    for wedge in _chocks(points, foot, middle - shift * scale, scale):
        polygon(canvas, np.column_stack([wedge[:, 0], base + (wedge[:, 1] - low) * scale]), fill=1)
    canvas.setFillGray(0.0)
    canvas.setLineWidth(1.3)
    for outline in outlines:
        polygon(
            canvas, np.column_stack([middle + (outline[:, 0] - shift) * scale, base + (outline[:, 1] - low) * scale])
        )
    for mark in [setting["marks"]["butt"]] if setting["marks"]["butt"]["name"] == "pith" else []:
        spot = np.array([middle + (float(np.dot(mark["point"], right)) - shift) * scale,
                         base + (float(mark["height"]) - low) * scale])  # fmt: skip
        canvas.setLineWidth(1.0)
        canvas.line(spot[0] - 5.0, spot[1], spot[0] + 5.0, spot[1])
        canvas.line(spot[0], spot[1] - 5.0, spot[0], spot[1] + 5.0)
    _cut_names(
        pages,
        words,
        reading.scale_drop,
        cuts,
        (middle - half, middle + half),
        lambda height: base + (height - low) * scale,
    )
    pages.write(pages.left, pages.y - 9.0, "Facing the butt end", 8.0)


def _foot(points: np.ndarray) -> tuple[float, float]:
    """Middle and width of what of a section's outline (n, 2) rests on the bunk. [mm]"""
    resting = points[points[:, 1] < points[:, 1].min() + LOW, 0]
    return float(resting.min() + resting.max()) / 2.0, float(np.ptp(resting))


def stands(reading: Script, setting: Mapping[str, Any]) -> bool:
    """Whether a piece stands by itself as it is posed: its weight comes down within what rests on the bunk."""
    up = np.array(setting["up"], float)
    right = np.cross(up, [-1.0, 0.0, 0.0])
    right /= np.linalg.norm(right)
    shape = reading.section(setting["piece"], round(float(np.mean(reading.stretch(setting["piece"]))), -1), right, up)
    outlines = rings(shape)
    if not outlines:
        return True
    middle, width = _foot(np.vstack(outlines))
    return abs(float(shape.centroid.x) - middle) < 0.4 * width


def _chocks(points: np.ndarray, foot: float, origin: float, scale: float) -> list[np.ndarray]:
    """A chock either side of where a section rests: across on the page [pt], height [mm]."""
    floor, found = float(points[:, 1].min()), []
    for way in (-1.0, 1.0):
        reach = foot + way * 34.0
        across = (reach - origin) / scale
        under = points[np.abs(points[:, 0] - across) < 14.0 / scale, 1]
        height = float(under.min()) if len(under) else floor
        if height > floor + LOW:
            height = min(height, floor + 26.0 / scale)
            found.append(np.array([[foot + way * 8.0, floor], [reach, floor], [reach, height]]))
    return found


def _cut_names(pages: Pages, words: Words, drop: float, cuts: Sequence[tuple[int, float]], span: tuple[float, float],
               place: Any) -> None:  # fmt: skip
    """Dashed lines across `span` with number and height on the scale beside them, moved apart where they crowd."""
    canvas, last = pages.canvas, np.inf
    gap = min(12.0, (DRAWING - 16.0) / max(len(cuts), 1))
    for number, height in sorted(cuts, key=lambda one: -one[1]):
        y = place(height)
        canvas.setLineWidth(0.9)
        canvas.setDash(7, 2)
        canvas.line(span[0], y, span[1], y)
        canvas.setDash()
        spot = min(y - 3.0, last - gap)
        canvas.setLineWidth(0.4)
        canvas.line(span[1], y, span[1] + 8.0, spot + 3.0)
        text = f"{number}: {words.length(height - drop)}"
        pages.write(span[1] + 10.0, spot, text, min(9.5, gap * 0.8, 85.0 / width_of(text, 1.0, True)), bold=True)
        last = spot


def _side_view(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any],
               pose: tuple[np.ndarray, np.ndarray, float], cuts: Sequence[tuple[int, float]]) -> None:  # fmt: skip
    """The piece along the bed: bunks, lifts where it rests, the marks at one height, the cuts."""
    right, up, level = pose
    low, high = reading.stretch(setting["piece"])
    stations = np.linspace(low + 1.0, high - 1.0, STATIONS)
    spans = np.array([reading.section(setting["piece"], float(x), right, up).bounds or [np.nan] * 4 for x in stations])
    spans = spans[:, [1, 3]] + level
    held = np.isfinite(spans).all(axis=1)
    if held.sum() < 2:
        return
    stations, spans = stations[held], spans[held]
    at = float(setting.get("butt_at", 0.0)) - float(reading.ends(setting["piece"])[0].pith[0])  # station to bed
    mill = reading.document["inputs"]["mill"].get("mill", {})
    lifts = {float(one["bunk"]): float(one["lift"]) for one in setting["lifts"]}
    bunks = sorted({*(float(one) for one in mill.get("bunks", ())), *lifts})
    bunks = [one for one in bunks if low + at - 400.0 < one < high + at + 400.0]
    left, wide = min([low + at, *bunks]) - 60.0, max([high + at, *bunks]) + 60.0
    top = max(float(spans.max()), *[h for _, h in cuts]) if cuts else float(spans.max())
    begin_x = pages.left + END_SHARE * pages.measure + 14.0
    scale = min((pages.right - begin_x) / (wide - left), (DRAWING - 60.0) / top)
    origin = np.array([begin_x, pages.y - DRAWING + 34.0])

    def spot(along: float, height: float) -> np.ndarray:
        return origin + scale * np.array([along - left, height])

    canvas = pages.canvas
    canvas.setLineWidth(2.0)
    canvas.line(*(spot(left, 0.0) - [0.0, BUNK]), *(spot(wide, 0.0) - [0.0, BUNK]))
    canvas.setLineWidth(0.8)
    taken = -np.inf
    for bunk in bunks:
        foot = spot(bunk, 0.0)
        canvas.rect(foot[0] - 4.0, foot[1] - BUNK, 8.0, BUNK)
        if bunk not in lifts:
            continue
        canvas.setFillGray(0.6)
        canvas.rect(foot[0] - 4.0, foot[1], 8.0, max(lifts[bunk] * scale, 0.5), fill=1)
        canvas.setFillGray(0.0)
        text = f"bunk {words.length(bunk)}: " + (
            f"lift {words.length(lifts[bunk])}" if lifts[bunk] > 0.0 else "no lift"
        )
        size = 8.0
        begin = min(max(foot[0] - width_of(text, size) / 2.0, begin_x), pages.right - width_of(text, size))
        row = 9.0 if begin > taken + 4.0 else 19.0
        pages.write(begin, foot[1] - BUNK - row, text, size)
        taken = begin + width_of(text, size) if row < 10.0 else taken
    canvas.setLineWidth(1.3)
    lower, upper = ([spot(x + at, span[side]) for x, span in zip(stations, spans, strict=True)] for side in (0, 1))
    polygon(canvas, np.array([*lower, *upper[::-1]]))
    canvas.setLineWidth(0.7)
    canvas.setDash(7, 2)
    for _, height in cuts:
        canvas.line(*spot(stations[0] + at, height), *spot(stations[-1] + at, height))
    canvas.setDash()
    canvas.setLineWidth(1.0)
    for mark in setting["marks"].values():
        where = spot(float(mark["point"][0]) + at, float(mark["height"]))
        canvas.circle(*where, 3.2)
    pages.write(begin_x, pages.y - 9.0, "From the right, butt end at the left.", 8.0)
    pages.write(begin_x, pages.y - 19.0, "Circles: the marks, at one height.", 8.0)
