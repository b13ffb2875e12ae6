"""Fit the log in a scan: from points to the log model of design section 3."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.bark_points import (
    Lump,
    bark_and_bearers,
    envelope,
    find_stubs,
    grid_cell,
    seen_cells,
    widened,
    within_faces,
)
from pithline.logmodel.bark_thickness import bark_thickness
from pithline.logmodel.card import Card
from pithline.logmodel.drift import Drift, two_sides_drift
from pithline.logmodel.face_rims import hidden_rims
from pithline.logmodel.log_frame import Frame, axis_vector, butt_is_low, log_frame, millimetres, up_vector
from pithline.logmodel.model import EndPlane, LogModel, SuspectedKnot, clock_angles
from pithline.logmodel.pith_line import Pith, locate_pith
from pithline.logmodel.plausibility import against_defects, against_tape, check_span, check_thickness
from pithline.logmodel.scale_by_tape import needs_scale, scaled
from pithline.logmodel.species import species_of
from pithline.logmodel.surface import Surface, first_surface, fit_surface, stations
from pithline.scan.end_faces import ScannedFace, find_faces
from pithline.scan.log_search import FoundLog, find_log

Array = NDArray[np.float64]

BEYOND = 115.0
"""How far the model goes on beyond its ends, so that end planes off square lie within. [mm]"""
HARMONICS = 10
RIM_OFF = 16.0
"""By how much a first surface may miss the rim of a face on girth that was hidden. [mm]"""
SEEN_FROM = 60_000
"""Points the first, coarse surface is fitted to."""

Progress = Callable[[str, float], None] | None


@dataclass(frozen=True, slots=True)
class _Scene:
    """What is known in the working frame (scan axes, mm, moved to the middle of the points)."""

    scale: float
    middle: Array
    up: Array
    found: FoundLog
    faces: tuple[ScannedFace, ScannedFace]

    def inward(self, point: Array) -> Array:
        """Scan coordinates to working frame."""
        return (point - self.middle) * self.scale


@dataclass(frozen=True, slots=True)
class _Laid:
    """The log laid into its own frame."""

    frame: Frame
    lump: Lump
    faces: tuple[ScannedFace, ScannedFace]
    rough: Surface


def fit_log(
    points: Array, card: Card, default_up: str = "+z", progress: Progress = None, pick: int | None = None
) -> LogModel:
    """Fit one log.

    Parameters
    ----------
    points : (n, 3) array
        The scan in its own coordinates and unit.
    card : Card
    default_up : str
        The scan axis that is up where neither the card nor ground says.
    progress : callable or None
        Called at each stage with a few words and the part done, 0 to 1.
    pick : int or None
        Which of several logs, from 1 by falling size.

    Raises
    ------
    FitError
        If there is no log, or several, or its size is absurd.
    InputError
        If card and scan contradict each other.
    """
    say = progress or (lambda words, part: None)
    points = np.asarray(points, dtype=np.float64)
    if needs_scale(card):
        say("finding the scale", 0.02)
        card = scaled(points, card, pick, lambda one: fit_log(points, one, default_up, None, pick))
    say("finding the log", 0.05)
    scene, cautions = _scene(points, card, default_up, pick)
    say("laying the log into its own frame", 0.3)
    laid, more = _lay(scene, card)
    say("fitting its surface", 0.45)
    surface, lump, knots, stubs, bearers, drift = _surface(laid)

    def inward(point: Array) -> Array:
        return laid.frame.inward(scene.inward(point))

    # bark that leaves no wood is refused before the pith is sought in it
    bark = bark_thickness(card, surface.radii(surface.x, clock_angles()))
    pith = locate_pith(card, surface, laid.faces, inward)
    say("drawing up the model", 0.9)
    model = _model(card, scene, laid, surface, lump, knots, stubs, pith, bark)
    removed = (*scene.found.removed, ("bearers", bearers))
    if drift is not None:
        more += [drift.words] if drift.told else []
        model = replace(model, stderr_radius=drift.leaves_open(model.stderr_radius))
    told = [*cautions, *more, *pith.cautions, *_assumptions(model, laid.faces)]
    seen = (laid.faces[0].seen, laid.faces[1].seen)
    against_defects(card, model)
    told += against_tape(card, model, seen)
    return replace(model, removed=removed, cautions=tuple(dict.fromkeys(told)))


def _scene(points: Array, card: Card, default_up: str, pick: int | None) -> tuple[_Scene, list[str]]:
    scale = millimetres(card)
    check_span(points, card, scale)
    middle = np.median(points, axis=0)
    found = find_log((points - middle) * scale, pick, None if card.up is None else axis_vector(card.up))
    check_thickness(found.rough.size, card, scale)
    up, cautions = up_vector(card, default_up, None if found.ground is None else found.ground.normal)
    faces = find_faces(found.points, found.patches, found.rough)
    return _Scene(scale, middle, up, found, faces), cautions


def _lay(scene: _Scene, card: Card) -> tuple[_Laid, list[str]]:
    """Butt, chord and up from a coarse surface; where 12 o'clock marks count from a taped pith, once more with it."""
    found = scene.found
    rough = found.rough
    local = found.points @ rough.turn.T
    faces = tuple(_turned(face, Frame(rough.turn, np.zeros(3))) for face in scene.faces)
    inside = within_faces(local, faces)
    thin = np.flatnonzero(inside)[:: max(1, int(inside.sum() // SEEN_FROM))]
    x = stations(faces[0].point[0] - BEYOND, faces[1].point[0] + BEYOND)
    coarse = fit_surface(
        local[thin], first_surface(x, rough.u, rough.centre, rough.radius, 3), 4, 20.0 + 0.1 * rough.size
    )
    ends = [_on_centreline(coarse, face) @ rough.turn for face in faces]
    span = 0.1 * float(np.linalg.norm(ends[1] - ends[0]))
    radii = tuple(_mean_radius(coarse, face.point[0], sign * span) for face, sign in zip(faces, (1, -1), strict=True))
    low = butt_is_low(card, (ends[0], ends[1]), (radii[0], radii[1]), rough.turn[0], scene.inward)
    butt, top = (0, 1) if low else (1, 0)
    pith = (ends[butt], ends[top])

    def inward(frame: Frame) -> Callable[[Array], Array]:
        return lambda point: frame.inward(scene.inward(point))

    for _ in range(2):
        known = tuple(
            scene.inward(np.asarray(mark.xyz, float)) if hasattr(mark, "xyz") else place
            for mark, place in zip((card.pith_butt, card.pith_top), pith, strict=True)
        )
        frame, cautions = log_frame(card, ends[butt], ends[top], scene.up, (known[0], known[1]), scene.inward)
        laid = _laid(scene, frame, coarse, (scene.faces[butt], scene.faces[top]))
        if card.twelve_butt is None and card.twelve_top is None:
            break
        line = locate_pith(card, laid.rough, laid.faces, inward(laid.frame))
        at = np.array([face.point[0] for face in laid.faces])
        yz = laid.rough.centre(at) + line.offset_at(at)
        places = np.column_stack([at, yz]) @ frame.turn + frame.origin
        pith = (places[0], places[1])
    return laid, cautions


def _mean_radius(surface: Surface, at: float, span: float) -> float:
    low, high = sorted((at, at + span))
    return float(surface.rows_at(np.linspace(low, high, 5))[:, 0].mean())


def _on_centreline(surface: Surface, face: ScannedFace) -> Array:
    """Where the centreline meets an end plane. (3,)"""
    x = np.array([face.point[0]])
    for _ in range(6):
        yz = surface.centre(x)[0]
        x = face.point[:1] - ((yz - face.point[1:]) @ face.normal[1:]) / face.normal[0]
    return np.array([x[0], *surface.centre(x)[0]])


def _turned(face: ScannedFace, frame: Frame) -> ScannedFace:
    return replace(face, point=frame.inward(face.point), normal=frame.turn @ face.normal)


def _laid(scene: _Scene, frame: Frame, coarse: Surface, faces: tuple[ScannedFace, ScannedFace]) -> _Laid:
    """Points, faces and the coarse surface taken over into the log frame."""
    found, turn = scene.found, scene.found.rough.turn
    lump = Lump(
        frame.inward(found.points), (found.patches.normals @ frame.turn.T)[found.patches.voxels.of].astype(np.float64)
    )
    butt, top = (_turned(face, frame) for face in faces)
    # a face that was not seen is square to the log's own x
    if not butt.seen:
        butt = replace(butt, normal=np.array([-1.0, 0.0, 0.0]))
    if not top.seen:
        top = replace(top, normal=np.array([1.0, 0.0, 0.0]))
    rows = coarse.rows_at(coarse.x)
    line = frame.inward(np.column_stack([coarse.x, rows[:, 2], rows[:, 1]]) @ turn)
    order = np.argsort(line[:, 0])
    x = stations(butt.point[0] - BEYOND, top.point[0] + BEYOND)
    start = first_surface(x, line[order, 0], line[order, 1:], rows[order, 0], 3)
    inside = np.flatnonzero(within_faces(lump.points, (butt, top)))
    thin = inside[:: max(1, len(inside) // SEEN_FROM)]
    radius = float(np.median(rows[:, 0]))
    return _Laid(frame, lump, (butt, top), fit_surface(lump.points[thin], start, 4, 12.0 + 0.06 * radius))


def _surface(
    laid: _Laid,
) -> tuple[Surface, Lump, tuple[SuspectedKnot, ...], NDArray[np.bool_], int, Drift | None]:
    """The surface over all stations; stubs found, left out of it, and listed; drift told and undone."""
    rough = laid.rough
    bark, foreign = bark_and_bearers(laid.lump, rough, laid.faces)
    points = laid.lump.points[bark]
    rows = rough.rows_at(rough.x)
    start = first_surface(rough.x, rough.x, rough.centre(rough.x), rows[:, 0], HARMONICS)
    start.coefficients[: rough.basis.rows] = rough.coefficients
    radius = float(np.median(rows[:, 0]))
    surface = fit_surface(points, start, 6, 8.0 + 0.06 * radius)
    own = laid.lump.points[within_faces(laid.lump.points, laid.faces, 0.0) & ~foreign]
    bearers = laid.lump.points[foreign]
    knots, stubs = find_stubs(own, surface, bearers)
    row, column = grid_cell(points[:, 0], surface.residuals(points)[1], surface.x)
    wide = widened(stubs)
    rims = hidden_rims(laid.lump.points, surface, laid.faces)
    bare = points[~wide[row, column]]
    cells = surface.cells
    widest = 4.0 * surface.scale + (RIM_OFF if len(rims) else 0.0)
    surface = fit_surface(np.concatenate([bare, rims]), surface, 4, widest)
    drift = two_sides_drift(laid.lump.points, replace(surface, cells=cells), laid.faces)
    if drift is not None and drift.told:
        bare, own = drift.undone(bare, surface), drift.undone(own, surface)
        surface = fit_surface(np.concatenate([bare, rims]), surface, 4, widest)
    # what the rims show is known, but was not seen
    surface = replace(surface, cells=cells)
    knots, stubs = find_stubs(own, surface, bearers)
    return surface, Lump(own, own), knots, stubs, int(foreign.sum()), drift


def _model(
    card: Card,
    scene: _Scene,
    laid: _Laid,
    surface: Surface,
    lump: Lump,
    knots: tuple[SuspectedKnot, ...],
    stubs: NDArray[np.bool_],
    pith: Pith,
    bark_and_error: tuple[Array, Array],
) -> LogModel:
    x, clock = surface.x, clock_angles()
    outline = surface.radii(x, clock)
    surface_error, centre_error = surface.stderr()
    bark, bark_error = bark_and_error
    seen = seen_cells(surface)
    centre = surface.centre(x)
    line = centre + pith.offset_at(x)
    sapwood = card.sapwood_thickness
    model = LogModel(
        x=x,
        centre=centre,
        pith=line,
        radius_over_bark=outline,
        radius_under_bark=outline - bark,
        envelope=np.maximum(envelope(lump.points, surface, stubs, surface_error, seen), outline),
        coverage=seen.mean(axis=1),
        stderr_centre=centre_error,
        stderr_pith=pith.error_at(x),
        stderr_radius=np.hypot(surface_error, bark_error),
        length=0.0,
        butt=EndPlane(laid.faces[0].point, laid.faces[0].normal),
        top=EndPlane(laid.faces[1].point, laid.faces[1].normal),
        scan_to_log=_matrix(scene, laid.frame),
        suspected_knots=knots,
        pith_assumed=len(pith.at) == 0,
        bark_assumed=card.bark_thickness is None,
        sapwood_thickness=species_of(card.species).sapwood_most if sapwood is None else sapwood,
        sapwood_assumed=sapwood is None,
        spiral=card.spiral,
    )
    return _squared_up(model)


def _matrix(scene: _Scene, frame: Frame) -> Array:
    """(4, 4) from scan coordinates to the log frame."""
    out = np.eye(4)
    out[:3, :3] = frame.turn * scene.scale
    out[:3, 3] = -frame.turn @ (scene.middle * scene.scale + frame.origin)
    return out


def _squared_up(model: LogModel) -> LogModel:
    """Bring x = 0 to where the butt plane meets the pith line, and the x axis onto the centreline's chord exactly.

    The turn left to make is far below a milliradian, so that stations and radii stand; only lines and planes are moved.
    """
    pith, centre = model.splines(model.pith), model.splines(model.centre)
    ends = []
    for plane in (model.butt, model.top):
        x = plane.point[0]
        for _ in range(8):
            x = plane.point[0] - ((pith(x) - plane.point[1:]) @ plane.normal[1:]) / plane.normal[0]
        ends.append(float(x))
    low, high = np.array([ends[0], *centre(ends[0])]), np.array([ends[1], *centre(ends[1])])
    axis = (high - low) / np.linalg.norm(high - low)
    z = np.array([0.0, 0.0, 1.0]) - axis * axis[2]
    z /= np.linalg.norm(z)
    turn = np.stack([axis, np.cross(z, axis), z])
    move = np.eye(4)
    move[:3, :3], move[:3, 3] = turn, -turn @ low
    x = model.x - ends[0]
    length = float(ends[1] - ends[0])
    chord = low[1:] + (high[1:] - low[1:]) * (x / length)[:, None]
    knots = tuple(replace(one, x=one.x - ends[0]) for one in model.suspected_knots)
    moved = replace(
        model,
        x=x,
        centre=model.centre - chord,
        pith=model.pith - chord,
        length=length,
        scan_to_log=move @ model.scan_to_log,
        suspected_knots=knots,
    )
    line = moved.splines(moved.pith)
    planes = [
        EndPlane(np.array([at, *line(at)]), turn @ plane.normal)
        for at, plane in ((0.0, model.butt), (length, model.top))
    ]
    return replace(moved, butt=planes[0], top=planes[1])


def _assumptions(model: LogModel, faces: tuple[ScannedFace, ScannedFace]) -> list[str]:
    told = []
    if model.pith_assumed:
        told.append("No pith mark on the card: the pith was taken at the centre of the log. Mark it on both ends.")
    if model.bark_assumed:
        told.append("No bark thickness on the card: the species' usual share was taken. Probe it at both ends.")
    for name, face in zip(("butt", "top"), faces, strict=True):
        if not face.seen:
            told.append(f"The {name} end face was not scanned: it was taken square where the bark ends.")
    return told
