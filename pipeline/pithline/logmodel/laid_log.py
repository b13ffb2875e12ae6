"""From the scan's coordinates to the log's own frame: the log found, its butt, chord and up told, a coarse surface laid on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.bark_points import LogPoints, within_faces
from pithline.logmodel.butt_end import LogEnds, tell_butt
from pithline.logmodel.card import Card, PithMark, ScanPoint
from pithline.logmodel.log_frame import (
    Chord,
    Frame,
    axis_vector,
    log_frame,
    millimetres,
    up_vector,
)
from pithline.logmodel.pith_line import locate_pith
from pithline.logmodel.plausibility import check_span, check_thickness
from pithline.logmodel.surface import Surface, first_surface, fit_surface
from pithline.scan.end_faces import ScannedFace, find_faces
from pithline.scan.log_search import FoundLog, find_log

Array = NDArray[np.float64]

BEYOND = 0.6
"""How far the model goes on beyond its ends, so that end planes 20° off square lie within, flare and all. [radii]"""
COARSE_POINTS = 60_000
"""Points that a coarse surface is fitted to at most."""
COARSE_HARMONICS, COARSE_ROUNDS = 3, 4
FIRST_WIDTH, SECOND_WIDTH = 0.2, 0.12
"""Points this far off the rough log still pull the first coarse surface, and this far off that one, the second. [radii]"""
PROFILE = 61
"""Places along the log at which its thickness tells the butt."""


@dataclass(frozen=True, slots=True)
class ScanScene:
    """What is known in the working frame: scan axes, mm, moved to the middle of the points.

    `scale` is millimetres in a unit of the scan, `middle` (3,) the points' middle in scan coordinates, `up` (3,) the vertical;
    `faces` are those at the low and the high end of the rough axis.
    """

    scale: float
    middle: Array
    up: Array
    found: FoundLog
    faces: tuple[ScannedFace, ScannedFace]
    cautions: tuple[str, ...]

    def inward(self, point: Array) -> Array:
        """Scan coordinates to working frame."""
        return (point - self.middle) * self.scale


@dataclass(frozen=True, slots=True)
class LaidLog:
    """The log in its own frame: its points, its faces (butt, top), a coarse surface, the way there from scan coordinates, and a
    sentence where the butt is in doubt.
    """

    frame: Frame
    log: LogPoints
    faces: tuple[ScannedFace, ScannedFace]
    coarse: Surface
    scan_to_log: Array  # (4, 4)
    cautions: tuple[str, ...] = ()
    butt_doubt: str = ""


def find_scene(points: Array, card: Card, default_up: str, pick: int | None) -> ScanScene:
    """The log among scan points (n, 3), its end faces, and the vertical.

    Raises
    ------
    FitError
        If there is no log, or several and none is picked, or its size is absurd.
    """
    scale = millimetres(card)
    check_span(points, card, scale)
    middle = np.median(points, axis=0)
    found = find_log((points - middle) * scale, pick, None if card.up is None else axis_vector(card.up))
    check_thickness(found.rough.size, card, scale)
    up, cautions = up_vector(card, default_up, None if found.ground is None else found.ground.normal)
    faces = find_faces(found.points, found.patches, found.rough)
    return ScanScene(scale, middle, up, found, faces, tuple(cautions))


def lay_into_log_frame(scene: ScanScene, card: Card) -> LaidLog:
    """Butt, chord and up from a coarse surface; where 12 o'clock marks count from a taped pith, once more with it.

    Raises
    ------
    InputError
        If the log stands and no mark says which way it is turned.
    """
    rough = scene.found.rough
    coarse, along = _along_rough_axis(scene)
    ends = [_on_centreline(coarse, face) @ rough.turn for face in along]
    radius = coarse.rows_at(np.linspace(along[0].point[0], along[1].point[0], PROFILE))[:, 0]
    told = tell_butt(card, LogEnds(ends[0], ends[1], radius), rough.turn[0], scene.inward)
    butt, top = (0, 1) if told.low else (1, 0)
    faces = (scene.faces[butt], scene.faces[top])
    pith = (ends[butt], ends[top])
    for _ in range(2):
        known = (_marked(card.pith_butt, pith[0], scene), _marked(card.pith_top, pith[1], scene))
        frame, cautions = log_frame(card, Chord(ends[butt], ends[top], known), scene.up, scene.inward)
        laid = replace(_laid(scene, frame, coarse, faces), cautions=tuple(cautions), butt_doubt=told.doubt)
        if card.twelve_butt is None and card.twelve_top is None:
            break
        pith = _pith_ends(scene, card, laid)
    return laid


def _along_rough_axis(scene: ScanScene) -> tuple[Surface, tuple[ScannedFace, ScannedFace]]:
    """A coarse surface and the end faces in the rough log's own axes."""
    rough = scene.found.rough
    local = scene.found.points @ rough.turn.T
    turned = Frame(rough.turn, np.zeros(3))
    faces = (_in_frame(scene.faces[0], turned), _in_frame(scene.faces[1], turned))
    inside = within_faces(local, faces)
    thin = np.flatnonzero(inside)[:: max(1, int(inside.sum() // COARSE_POINTS))]
    beyond = BEYOND * rough.size
    reach = (float(faces[0].point[0]) - beyond, float(faces[1].point[0]) + beyond)
    start = first_surface(reach, rough.u, rough.centre, rough.radius, COARSE_HARMONICS)
    return fit_surface(local[thin], start, COARSE_ROUNDS, FIRST_WIDTH * rough.size), faces


def _marked(mark: PithMark | None, place: Array, scene: ScanScene) -> Array:
    """A mark's place in the working frame, where it is a scan point, else `place`."""
    return scene.inward(np.asarray(mark.xyz, float)) if isinstance(mark, ScanPoint) else place


def _pith_ends(scene: ScanScene, card: Card, laid: LaidLog) -> tuple[Array, Array]:
    """Where the pith meets both ends, in the working frame."""
    line = locate_pith(card, laid.coarse, laid.faces, lambda point: laid.frame.inward(scene.inward(point)))
    at = np.array([face.point[0] for face in laid.faces])
    yz = laid.coarse.centre(at) + line.offset_at(at)
    places = np.column_stack([at, yz]) @ laid.frame.turn + laid.frame.origin
    return places[0], places[1]


def _on_centreline(surface: Surface, face: ScannedFace) -> Array:
    """Where the centreline meets an end plane. (3,)"""
    x = np.array([face.point[0]])
    for _ in range(6):
        yz = surface.centre(x)[0]
        x = face.point[:1] - ((yz - face.point[1:]) @ face.normal[1:]) / face.normal[0]
    return np.array([x[0], *surface.centre(x)[0]])


def _in_frame(face: ScannedFace, frame: Frame) -> ScannedFace:
    return replace(face, point=frame.inward(face.point), normal=frame.turn @ face.normal)


def _laid(scene: ScanScene, frame: Frame, coarse: Surface, faces: tuple[ScannedFace, ScannedFace]) -> LaidLog:
    """Points, faces and the coarse surface taken over into the log frame, where it is fitted once more."""
    found, turn = scene.found, scene.found.rough.turn
    log = LogPoints(
        frame.inward(found.points), (found.patches.normals @ frame.turn.T)[found.patches.voxels.of].astype(np.float64)
    )
    butt, top = (_in_frame(face, frame) for face in faces)
    # a face that was not seen is square to the log's own x
    if not butt.seen:
        butt = replace(butt, normal=np.array([-1.0, 0.0, 0.0]))
    if not top.seen:
        top = replace(top, normal=np.array([1.0, 0.0, 0.0]))
    rows = coarse.rows_at(coarse.x)
    line = frame.inward(np.column_stack([coarse.x, rows[:, 2], rows[:, 1]]) @ turn)
    order = np.argsort(line[:, 0])
    beyond = BEYOND * coarse.radius
    reach = (float(butt.point[0]) - beyond, float(top.point[0]) + beyond)
    start = first_surface(reach, line[order, 0], line[order, 1:], rows[order, 0], COARSE_HARMONICS)
    inside = np.flatnonzero(within_faces(log.points, (butt, top)))
    thin = inside[:: max(1, len(inside) // COARSE_POINTS)]
    surface = fit_surface(log.points[thin], start, COARSE_ROUNDS, SECOND_WIDTH * coarse.radius)
    return LaidLog(frame, log, (butt, top), surface, _matrix(scene, frame))


def _matrix(scene: ScanScene, frame: Frame) -> Array:
    """(4, 4) from scan coordinates to the log frame."""
    out = np.eye(4)
    out[:3, :3] = frame.turn * scene.scale
    out[:3, 3] = -frame.turn @ (scene.middle * scene.scale + frame.origin)
    return out
