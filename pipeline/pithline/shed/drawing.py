"""Pictures of the pages as SVG, drawn from the log's own figures: its end grain, its side, a plan's end, how a search climbs."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

RINGS = (0.12, 0.24, 0.36, 0.48, 0.6, 0.71, 0.81, 0.9)
"""Growth layers that are drawn, as shares of the way from the pith to under the bark."""
EDGE = 8.0
"""Room round a drawing. [mm]"""
STYLE = (
    "<style>.bark{fill:#5b4636}.wood{fill:#e9d6b1}.heart{fill:#9c2418}"
    ".ring{fill:none;stroke:#7b573a;stroke-width:1;opacity:.75}.plate{stroke:#2b1e16;stroke-width:.8}</style>"
)
"""For a drawing that no style sheet reaches, in the page's own colours."""
Points = Sequence[Sequence[float]]


def end_grain(bark: Points, wood: Points, more: str = "", label: str = "", room: float = EDGE) -> str:
    """An end face about its pith: bark, wood, growth layers, and what else is drawn on it.

    Parameters
    ----------
    bark, wood : sequence of (right, up)
        Outlines over and under bark from the pith. [mm]
    more : str
        SVG in the same coordinates, up turned down.
    label : str
        What a reader without sight is told.
    room : float
        Left free round the bark. [mm]
    """
    across, up = [x for x, _ in bark] or [-100.0, 100.0], [y for _, y in bark] or [-100.0, 100.0]
    size = max(max(across) - min(across), max(up) - min(up)) / 2.0 + room
    left, high = (max(across) + min(across)) / 2.0 - size, -(max(up) + min(up)) / 2.0 - size
    layers = "".join(f'<path class="ring" d="{_path([[share * x, share * y] for x, y in wood])}"/>' for share in RINGS)
    return (
        f'<svg class="grain" viewBox="{left:.0f} {high:.0f} {2 * size:.0f} {2 * size:.0f}" role="img" aria-label="{html.escape(label)}">'
        f'<path class="bark" d="{_path(bark)}"/><path class="wood" d="{_path(wood)}"/>{layers}'
        f'<circle class="heart" r="4"/>{more}</svg>'
    )


def model_end(model: Mapping[str, Any], label: str) -> str:
    """The butt end of a fitted log as its model's JSON tells it, seen facing it."""
    import math

    station = min(model["stations"], key=lambda one: abs(one["x"]))
    (cy, cz), (py, pz) = station["centre"], station["pith"]

    def outline(radii: Sequence[float]) -> list[list[float]]:
        turns = [2.0 * math.pi * at / len(radii) for at in range(len(radii))]
        # clock angle runs clockwise as seen facing the butt end: (right, up) = (sin, cos)
        return [[r * math.sin(t) - cy + py, r * math.cos(t) + cz - pz] for r, t in zip(radii, turns, strict=True)]

    return end_grain(outline(station["radius_over_bark"]), outline(station["radius_under_bark"]), label=label)


def model_side(model: Mapping[str, Any], label: str) -> str:
    """The log from its right side, butt at the left, as its model's JSON tells it."""
    stations = [one for one in model["stations"] if 0.0 <= one["x"] <= model["length"]]
    half = len(stations[0]["radius_over_bark"]) // 2
    upper = [[one["x"], -(one["centre"][1] + one["radius_over_bark"][0])] for one in stations]
    lower = [[one["x"], -(one["centre"][1] - one["radius_over_bark"][half])] for one in stations]
    pith = [[one["x"], -one["pith"][1]] for one in stations]
    top, low = min(y for _, y in upper) - EDGE, max(y for _, y in lower) + EDGE
    line = " ".join(f"{x:.0f},{y:.1f}" for x, y in pith)
    return (
        f'<svg class="side" viewBox="{-EDGE:.0f} {top:.0f} {model["length"] + 2 * EDGE:.0f} {low - top:.0f}" role="img" '
        f'aria-label="{html.escape(label)}" preserveAspectRatio="xMinYMid meet">'
        f'<path class="bark" d="{_path([*upper, *lower[::-1]], flip=False)}"/><polyline class="pithline" points="{line}"/></svg>'
    )


def plan_end(picture: Mapping[str, Any], label: str, number: str) -> str:
    """An end with the plates of a plan; every part has its colour and its pattern."""
    defs = "".join(
        _pattern(f"look-{number}-{at}", colour, kind) for at, (colour, kind) in enumerate(picture["looks"].values())
    )
    order = {name: at for at, name in enumerate(picture["looks"])}
    plates = "".join(_plate(plate, f"look-{number}-{order[plate['part']]}") for plate in picture["plates"])
    return end_grain(picture["bark"], picture["wood"], f"<defs>{defs}</defs>{plates}", label)


def _plate(plate: Mapping[str, Any], look: str) -> str:
    """A plate with its look; one that fails is left empty."""
    fill = f"url(#{look})" if plate["passes"] else "none"
    return f'<path class="plate" d="{_path(plate["at"])}" fill="{fill}"/>'


def swatch(colour: str, kind: int, name: str) -> str:
    """The look of a part beside its name."""
    mark = f"swatch-{colour.lstrip('#')}-{kind}"
    return (
        f'<svg class="swatch" viewBox="0 0 36 20" aria-hidden="true"><defs>{_pattern(mark, colour, kind)}</defs>'
        f'<rect width="36" height="20" fill="url(#{mark})"/></svg><span>{html.escape(name)}</span>'
    )


def _pattern(name: str, colour: str, kind: int) -> str:
    """A filling: the colour with lines, crosses or dots on it, as on the cards."""
    light = sum(int(colour[at : at + 2], 16) for at in (1, 3, 5)) > 384
    ink = "#2b1e16" if light else "#fff"
    lines = {1: "M0 5H10", 2: "M5 0V10", 3: "M0 0L10 10", 4: "M10 0L0 10", 5: "M0 0L10 10M10 0L0 10"}
    inside = f'<path d="{lines[kind]}" stroke="{ink}" stroke-width="1.4"/>' if kind in lines else ""
    inside += f'<circle cx="5" cy="5" r="1.8" fill="{ink}"/>' if kind == 6 else ""
    size = 'width="10" height="10"'
    return f'<pattern id="{name}" {size} patternUnits="userSpaceOnUse"><rect {size} fill="{colour}"/>{inside}</pattern>'


def climb_curve(curve: Sequence[Sequence[float | None]], now: float, unit: str) -> str:
    """How a search climbs: the best so far as a line, what no plan can exceed as a broken one above it."""
    wide, high, left, low = 640.0, 240.0, 64.0, 36.0
    values = [value for point in curve for value in point[1:] if value is not None]
    if not values:
        return ""
    most, end = max(values) * 1.08 or 1.0, max(now, 1.0, curve[-1][0] or 0.0)
    least = min(0.0, min(values))

    def place(seconds: float, value: float) -> tuple[float, float]:
        return left + (wide - left - 12) * seconds / end, high - low - (high - low - 14) * (value - least) / (
            most - least or 1.0
        )

    def holds(point: Sequence[float | None], column: int) -> bool:
        """What no plan can exceed is told class by class: while it is less than what is in hand, it is only of the classes looked at."""
        return point[column] is not None and (point[column] or 0.0) >= (point[1] or 0.0)

    def stairs(column: int) -> str:
        known = [(float(point[0] or 0.0), float(point[column] or 0.0)) for point in curve if holds(point, column)]
        if not known:
            return ""
        steps = [f"M{place(*known[0])[0]:.1f} {place(*known[0])[1]:.1f}"]
        steps += [f"H{place(*one)[0]:.1f}V{place(*one)[1]:.1f}" for one in known[1:]]
        return "".join(steps) + f"H{place(end, 0.0)[0]:.1f}"

    best, bound = curve[-1][1], curve[-1][2]
    said = f"best so far {best:.1f} {unit}" + (f", none can exceed {bound:.1f} {unit}" if holds(curve[-1], 2) else "")
    ticks = "".join(_tick(value, place(0.0, value)[1], left, wide - 12, unit) for value in _ticks(least, most))
    return (
        f'<svg class="climb" viewBox="0 0 {wide:.0f} {high:.0f}" role="img" aria-label="{html.escape(said)}">{ticks}'
        f'<path class="bound" d="{stairs(2)}"/><path class="best" d="{stairs(1)}"/>'
        f'<text x="{left}" y="{high - 10}">0 s</text><text x="{wide - 12}" y="{high - 10}" text-anchor="end">{end:.0f} s</text></svg>'
    )


def _tick(value: float, height: float, left: float, right: float, unit: str) -> str:
    """A level line with its figure; money has no unit of its own."""
    figure = f"{value:.0f} L" if unit == "L" else f"{value:.0f}"
    words = f'<text x="{left - 8}" y="{height + 4:.1f}" text-anchor="end">{figure}</text>'
    return f'{words}<path class="rule" d="M{left} {height:.1f}H{right}"/>'


def _ticks(least: float, most: float) -> list[float]:
    """Three or four round figures between."""
    import math

    step = 10.0 ** math.floor(math.log10(max(most - least, 1e-6)))
    step = next(size for size in (step / 5, step / 2, step, 2 * step, 5 * step) if (most - least) / size <= 4.5)
    first = math.ceil(least / step)
    return [step * at for at in range(first, int(most / step) + 1)]


def _path(points: Points, flip: bool = True) -> str:
    """A closed outline; up of the wood is up of the picture."""
    turned = [(x, -y if flip else y) for x, y in points]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in turned) + "Z" if turned else ""


def span_bar(words: str, span: tuple[str, str, str], bid: str, asked: str | None) -> str:
    """What a log earns: p10 to p90 as a broad span with its median, the highest bid, the price asked; per cent of one scale."""
    low, middle, high = span
    price = "" if asked is None else f'<path class="asked" d="M{float(asked):.1f} 0v10"/>'
    return (
        f'<svg class="span" viewBox="-1 0 102 10" preserveAspectRatio="none" role="img" aria-label="{html.escape(words)}">'
        f'<path class="axis" d="M0 9.5H100"/><path class="range" d="M{float(low):.1f} 5H{float(high):.1f}"/>'
        f'<path class="median" d="M{float(middle):.1f} 1v8"/><path class="most" d="M{float(bid):.1f} 0v10"/>{price}</svg>'
    )


def roll_curve(curve: Sequence[tuple[float, float]], turned: float, unit: str) -> str:
    """What every roll promises, by how far the log is turned from the plan's roll, with where it is now."""
    wide, high, low = 640.0, 150.0, 34.0
    values = [value for _, value in curve]
    least, most = min(values, default=0.0), max(values, default=1.0)
    room = 0.12 * (most - least) or 1.0

    def place(at: float, value: float) -> tuple[float, float]:
        return 20.0 + (wide - 40.0) * (at + 90.0) / 180.0, high - low - (high - low - 10.0) * (value - least + room) / (
            most - least + 2.0 * room
        )

    line = "L".join(f"{x:.1f} {y:.1f}" for x, y in (place(at, value) for at, value in curve))
    now, best = place(turned, least)[0], max(curve, key=lambda one: one[1], default=(0.0, 0.0))
    said = f"Of all rolls {best[0]:+.0f}° promises most, {best[1]:,.1f} {unit}; the least promises {least:,.1f} {unit}".strip()
    marks = "".join(
        f'<text x="{place(at, least)[0]:.1f}" y="{high - 10:.0f}" text-anchor="middle">{f"{at:+.0f}" if at else "0"}°</text>'
        for at in (-90.0, -45.0, 0.0, 45.0, 90.0)
    )
    return (
        f'<svg class="climb" viewBox="0 0 {wide:.0f} {high:.0f}" role="img" aria-label="{html.escape(said)}">'
        f'<path class="rule" d="M20 {high - low:.0f}H{wide - 20:.0f}"/><path class="best" d="M{line}"/>'
        f'<path class="bound" d="M{now:.1f} 4V{high - low:.0f}"/>{marks}</svg>'
        f'<p class="faint">{html.escape(said)}, by the tables; the broken line is where the log lies now.</p>'
    )
