"""The picture of a plan for chat messages: the butt end with its mill lines and plates, and the log come apart."""

from __future__ import annotations

import io
import textwrap

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPoint

from pithline.outputs.cut_script.document import Saw, ScriptCut, ScriptPlate
from pithline.outputs.cut_script.sawn_pieces import FAR, LEVEL, UPRIGHT, rings, straight_parts
from pithline.outputs.formatting import Formatter
from pithline.outputs.preview.raster import Buffers, draw, look
from pithline.outputs.preview.scene import RING_COLOURS, Scene, ring_legend, ring_step
from pithline.outputs.preview.solids import Mesh
from pithline.outputs.results import litres_in_words, money_in_words, results_of, sets_in_words

Array = NDArray[np.float64]

WOOD, SAWN, BARK, INK, PAPER = "#ead9bd", "#f4ead6", "#6b5442", "#221d18", "#ffffff"
WIDTH, HEIGHT, DPI = 1080, 1350, 150
VIEW = np.array([0.66, 0.62, -0.42])
"""Direction of sight of the log come apart: the butt at the left, seen from its right and from above."""
LIGHT = np.array([-0.35, -0.55, 0.76])
GLASS, GLASS_OVER_PLATES = 0.62, 0.22
"""How much of the wood shows where nothing lies behind it, and before plates."""
TITLE_LETTERS = 72
"""Letters on a line of the title."""
FINE = 2
"""Pixels drawn for each pixel shown, along each side."""


def preview_png(scene: Scene, fmt: Formatter) -> bytes:
    """PNG, 1080 × 1350 pixels."""
    with matplotlib.rc_context({"font.size": 13, "font.family": "DejaVu Sans"}):
        figure = Figure(figsize=(WIDTH / DPI, HEIGHT / DPI), dpi=DPI, facecolor=PAPER)
        _title(figure, scene, fmt)
        _end_views(figure, scene)
        _legend(figure, scene)
        apart = figure.add_axes((0.0, 0.0, 1.0, 0.40))
        _apart(apart, scene)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()


def _title(figure: Figure, scene: Scene, fmt: Formatter) -> None:
    script = scene.log.script
    own, currency = results_of(script), script.inputs.products.currency
    figure.text(0.03, 0.985, f"Log {script.log.id}", va="top", fontsize=19, fontweight="bold", color=INK)
    lines = textwrap.wrap(textwrap.shorten(sets_in_words(own), 2 * TITLE_LETTERS, placeholder=" …"), TITLE_LETTERS)
    lines.append(f"{litres_in_words(own.set_volume, fmt)} in sets, {litres_in_words(own.loose_volume, fmt)} loose; {own.hours:.1f} h"
                 + ("" if own.earnings is None else f", earns {money_in_words(own.earnings, currency)}"))  # fmt: skip
    figure.text(0.03, 0.948, "\n".join(lines), va="top", color=INK, fontsize=11.5, linespacing=1.25)
    volume = script.totals.log_volume or script.log.volume
    figure.text(
        0.97, 0.985, f"{100.0 * own.volume / volume:.0f} % of the log", va="top", ha="right", fontsize=13, color=INK
    )


def _end_views(figure: Figure, scene: Scene) -> None:
    """The log's own section; of a log that is crosscut first, one of each shorter log, with its mark."""
    log = scene.log
    logs = list(dict.fromkeys(log.own_log(one.piece) for one in log.settings if one.tool is Saw.MILL)) or ["log"]
    across = 1 if len(logs) == 1 else 2
    down = -(-len(logs) // across)
    left, low, wide, tall = 0.0, 0.385, 0.72, 0.49
    for place, own in enumerate(logs):
        column, row = place % across, place // across
        axes = figure.add_axes(
            (left + column * wide / across, low + (down - 1 - row) * tall / down, wide / across, tall / down)
        )
        _end_view(axes, scene, own, named=len(logs) > 1)


def _end_view(axes: Axes, scene: Scene, own: str, named: bool) -> None:
    """The section of a log, whole or crosscut, half-way along it, facing the butt end: mill lines, slabs, its plates."""
    log, model = scene.log, scene.log.model
    x = float(np.mean(log.stretch(own)))
    pith = np.array([-model.splines(model.pith)(x)[0], model.splines(model.pith)(x)[1]])
    over = _outline(scene, x, model.radius_over_bark)
    axes.add_patch(Polygon(over, fc=BARK, ec="none"))
    under = Polygon(_outline(scene, x, model.radius_under_bark), fc=WOOD, ec="none")
    axes.add_patch(under)
    for share in np.arange(0.1, 1.0, 0.1):
        axes.add_patch(Polygon(pith + share * (under.get_xy() - pith), fc="none", ec="#cbb08a", lw=0.7))
    sizes = np.abs(over).max()
    for name in scene.leaves:
        plate = log.plates.get(name)
        if plate is not None and log.own_log(name) == own:
            _plate(axes, scene.meshes[name], plate)
    settings = [one for one in log.settings if one.tool is Saw.MILL and log.own_log(one.piece) == own]
    for setting in settings:
        for cut in log.cuts_of(setting):
            _mill_line(axes, scene, cut, x, bold=setting is settings[0])
    if named:
        axes.text(float(over[:, 0].mean()), over[:, 1].min() - 0.06 * sizes, log.mark(own), ha="center", va="top", fontsize=14,
                  fontweight="bold", color=INK)  # fmt: skip
    circle = (float(pith[0]), float(pith[1]))
    axes.add_patch(Circle(circle, log.script.inputs.pith_radius, fc="none", ec=INK, lw=1.2, ls=(0, (2, 1.5)), zorder=6))
    axes.plot(*pith, marker="+", ms=9, mew=1.6, color=INK, zorder=7)
    axes.plot([pith[0]] * 2, [over[:, 1].max(), over[:, 1].max() + 0.06 * sizes], color=INK, lw=2.0)
    axes.text(pith[0], over[:, 1].max() + 0.08 * sizes, "12", ha="center", va="bottom", fontsize=13, color=INK)
    low, high = over.min(axis=0), over.max(axis=0)
    axes.set_xlim(low[0] - 0.14 * sizes, high[0] + 0.14 * sizes)
    axes.set_ylim(low[1] - 0.14 * sizes, high[1] + 0.24 * sizes)
    axes.set_aspect("equal")
    axes.axis("off")


def _outline(scene: Scene, x: float, radii: Array) -> Array:
    model = scene.log.model
    clock = np.radians(np.arange(0, 360, 5))
    radius = model.splines(radii)(x)
    centre = model.splines(model.centre)(x)
    return np.column_stack([-(centre[0] - radius * np.sin(clock)), centre[1] + radius * np.cos(clock)])


def _plate(axes: Axes, mesh: Mesh, plate: ScriptPlate) -> None:
    flat = np.column_stack([mesh.points @ LEVEL, mesh.points @ UPRIGHT])
    colour = RING_COLOURS[ring_step(plate.ring_mean)]
    for hull in rings(MultiPoint(flat).convex_hull):
        if plate.passes:
            axes.add_patch(Polygon(hull, fc=colour, ec=PAPER, lw=0.35, zorder=4))
        else:
            axes.add_patch(Polygon(hull, fc="none", ec=INK, lw=0.35, zorder=4, hatch="xxxx"))


def _mill_line(axes: Axes, scene: Scene, cut: ScriptCut, x: float, bold: bool) -> None:
    in_face = np.array([cut.normal @ LEVEL, cut.normal @ UPRIGHT])
    size = float(np.hypot(*in_face))
    if size < 1e-6:
        return
    n = in_face / size
    foot = n * (cut.offset - cut.normal[0] * x) / size
    along = np.array([-n[1], n[0]])
    shape = scene.log.section(cut.piece, x, LEVEL, UPRIGHT)
    for points in straight_parts(shape.intersection(LineString([foot - FAR * along, foot + FAR * along]))):
        axes.plot(*points.T, color=PAPER, lw=3.4 if bold else 2.6, zorder=5, solid_capstyle="butt")
        axes.plot(*points.T, color=INK, lw=2.2 if bold else 1.2, zorder=5.5, solid_capstyle="butt",
                  ls="-" if bold else (0, (4, 1.6)))  # fmt: skip


def _legend(figure: Figure, scene: Scene) -> None:
    """Ring angles by colour with the number of plates of each, and what the lines mean."""
    axes = figure.add_axes((0.70, 0.40, 0.29, 0.46))
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.axis("off")
    axes.text(0.0, 0.985, "Ring angle, mean", fontweight="bold", va="top", fontsize=12.5, color=INK)
    steps = [ring_step(one.ring_mean) for one in scene.log.plates.values() if one.passes]
    y = 0.86
    for step, (colour, words) in zip(range(len(RING_COLOURS) - 1, -1, -1), ring_legend(), strict=True):
        if step not in steps:
            continue
        axes.add_patch(Rectangle((0.0, y - 0.03), 0.16, 0.06, fc=colour, ec=INK, lw=0.8))
        axes.text(0.21, y, words, va="center", color=INK)
        axes.text(1.0, y, f"× {steps.count(step)}", va="center", ha="right", color=INK)
        y -= 0.082
    failing = sum(not one.passes for one in scene.log.plates.values())
    if failing:
        axes.add_patch(Rectangle((0.0, y - 0.03), 0.16, 0.06, fc="none", ec=INK, hatch="xxxx", lw=0.8))
        axes.text(0.21, y, f"fails × {failing}", va="center", color=INK)
        y -= 0.082
    y -= 0.03
    for words, style, width in (("first setting", "-", 2.4), ("later settings", (0, (4, 1.6)), 1.4)):
        axes.plot([0.0, 0.16], [y, y], color=INK, lw=width, ls=style)
        axes.text(0.21, y, words, va="center", color=INK)
        y -= 0.075
    axes.text(0.0, y, "seen facing the butt", va="center", color=INK, fontsize=12)


def _apart(axes: Axes, scene: Scene) -> None:
    """The log opened along the mill's cuts, its wood like glass, so that the plates within show by ring angle."""
    gap = 0.24 * float(np.median(scene.log.model.radius_over_bark))
    plates = [name for name in scene.leaves if name in scene.log.plates]
    wood = list(dict.fromkeys(scene.log.from_mill(name) for name in scene.leaves))
    wood = [name for name in wood if len(scene.meshes[name].faces)]
    shifts = [scene.spread(name, gap) for name in [*wood, *plates]]
    moved = [Mesh(scene.meshes[name].points + shift, scene.meshes[name].faces)
             for name, shift in zip([*wood, *plates], shifts, strict=True)]  # fmt: skip
    width, height = FINE * WIDTH, int(FINE * HEIGHT * 0.40)
    camera = look(moved, VIEW, width, height)
    outer = draw(moved[: len(wood)], camera, width, height)
    picture = np.ones((height, width, 3))
    seen = outer.index >= 0
    share = np.ones(int(seen.sum()))
    if plates:
        inner = draw(moved[len(wood) :], camera, width, height)
        covered = inner.index >= 0
        steps = [ring_step(scene.log.plates[name].ring_mean) for name in plates]
        colour = np.array([to_rgb(RING_COLOURS[step]) for step in steps])[inner.index[covered]]
        picture[covered] = colour * _light(inner)[:, None]
        picture[inner.edges() & covered] *= 0.55
        share = np.where(covered[seen], GLASS_OVER_PLATES, GLASS)
    glass = _wood(scene, outer, np.array(shifts[: len(wood)])) * _light(outer)[:, None]
    behind = picture[seen]
    picture[seen] = behind + (glass - behind) * share[:, None]
    picture[outer.edges()] *= 0.5
    fine = picture.reshape(height // FINE, FINE, width // FINE, FINE, 3).mean(axis=(1, 3))
    axes.imshow(fine, interpolation="nearest", aspect="auto")
    axes.axis("off")


def _light(buffers: Buffers) -> Array:
    """Brightness of every covered pixel."""
    return np.asarray(0.66 + 0.34 * np.clip(buffers.facing(LIGHT / np.linalg.norm(LIGHT)), 0.0, 1.0), float)


def _wood(scene: Scene, buffers: Buffers, shifts: Array) -> Array:
    """Colour of every covered pixel: wood by growth layer, bark beyond it."""
    layer = scene.layer(buffers.points() - shifts[buffers.index[buffers.index >= 0]])
    early = np.mod(layer * 9.0, 1.0)
    wood = np.array(to_rgb(SAWN)) * (1.0 - 0.2 * early * early * early)[:, None]
    wood[layer > 1.0] = to_rgb(BARK)
    return wood
