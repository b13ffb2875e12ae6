"""Settings as machines can make them: poses on the mill with lifts, marks and heights, or cuts in the shop against a face."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Face, Piece
from pithline.logmodel.model import EndPlane
from pithline.mill.limits import mark_room, setting_checks
from pithline.mill.machine import BandMill, Machines
from pithline.mill.pose import NoPose, Pose, pose_bolt, pose_piece
from pithline.mill.sections import LogSections, PieceShape, length_along, piece_shape, widest_cut
from pithline.plan.execute.bolt_holds import BoltHold, KnownHolds, bolt_holds, known_holds, stands
from pithline.plan.execute.ledger import vector
from pithline.plan.execute.shop import minutes_of
from pithline.plan.execute.simulate import PosedSetting, Refused
from pithline.plan.execute.slab_faces import (
    CLOSE_GAP,
    LEAST_BOARD,
    SAME_FACE,
    ParallelFaces,
    Slabs,
    fit_slabs,
    parallel_faces,
)
from pithline.plan.problem.effort import thickness_max
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal, normal_at
from pithline.plan.problem.operations import (
    Against,
    BladePlace,
    Lift,
    Mark,
    Marks,
    MillPose,
    Setting,
    Support,
    Tool,
)
from pithline.wood.field import at_points

Array = NDArray[np.float64]


AT_THE_LOWEST = ("blade_min", "clamp_room")
"""Limits that the lowest cut of a setting breaks."""
NOTHING = Refused()
"""What is left of a piece, or of a setting, needs no saw."""
END_LINE_SLACK = 1e-3
"""A mark this near to a face of its piece still lies on it, an end that a crosscut made among them. [mm]"""
LINE_SHIFTS = (0.0, -10.0, 10.0, -20.0, 20.0, -35.0, 35.0, -50.0, 50.0, -70.0, 70.0)
"""Lines beside a setting's first cut that its marks may lie on, in the order tried. [mm]"""
LINE_REACH, LINE_STEP = 700.0, 4.0
"""How far from the pith a drawn line is followed, farther than any log's radius, and between its points. [mm]"""
LEAST_POINTS = 3
"""Points of a line in wood that make a line one can draw."""
SQUARE = np.sin(np.radians(1.2))
"""A face leaning by less stands square: lifts tilt a piece by no more."""


@dataclass(frozen=True, slots=True)
class MachinePoser:
    """Poses every setting on the mill or the resaw; where neither takes it, says why.

    Attributes
    ----------
    log : PlanLog
        The log, or the shorter log, that pieces belong to.
    sections : LogSections
        Outlines of the whole log.
    density : float
        Of green wood. [kg/m³]
    known : dict
        Ways to hold bolts that were found before.
    """

    log: PlanLog
    sections: LogSections
    machines: Machines
    density: float
    known: KnownHolds = field(default_factory=dict, repr=False, compare=False)

    def pose(self, setting: LayoutSetting, piece: Piece) -> PosedSetting | Refused:
        """A log or a half on the mill."""
        shape = piece_shape(self.sections, piece, bark=True)
        if len(shape.x) < 2 or not setting.slabs:
            return NOTHING
        return self._mill(setting, piece, shape)

    def holds(self, setting: LayoutSetting, piece: Piece) -> tuple[BoltHold, ...]:
        """Ways to hold a bolt for a setting: on the resaw first where that takes it, and on the mill."""
        return known_holds(self.known, self.log, setting, piece, self._holds)

    def _holds(self, setting: LayoutSetting, piece: Piece) -> tuple[BoltHold, ...]:
        shape = piece_shape(self.sections, piece, bark=True)
        if len(shape.x) < 2 or not setting.slabs or len(piece.faces) == len(self.log.piece.faces):
            return ()
        piece = replace(piece, faces=tuple(face for face in piece.faces if _bounds(face, shape)))
        wanted, resaw, mill = normal_at(self.log.axis, setting.clock), self.machines.resaw, self.machines.mill
        in_shop: tuple[BoltHold, ...] = ()
        if self._resaw_takes(shape):
            in_shop = bolt_holds(self.log, piece, wanted, Tool.RESAW, resaw.cradles_deg, resaw.cradle_any)
        found = bolt_holds(self.log, piece, wanted, Tool.MILL, mill.cradles_deg, mill.cradle_any)
        return (*in_shop, *(hold for hold in found if stands(shape, piece, _upward(hold), self.log.axis)))

    def pose_bolt(self, setting: LayoutSetting, piece: Piece, hold: BoltHold) -> PosedSetting | Refused:
        """A bolt held by one of its sawn faces."""
        shape = piece_shape(self.sections, piece, bark=True)
        if hold.tool is Tool.RESAW:
            return self._resaw(setting, piece, shape, hold)
        pose = pose_bolt(shape, _upward(hold), self.log.axis, self.log.origin, self.machines.mill, self.density)
        if isinstance(pose, NoPose):
            return Refused(pose.why)
        turned = float(normal_at(self.log.axis, setting.clock) @ pose.up) < 0.0
        return self._on_mill(setting, piece, shape, pose, -1.0 if turned else 1.0, hold)

    def _mill(self, setting: LayoutSetting, piece: Piece, shape: PieceShape) -> PosedSetting | Refused:
        mill, log = self.machines.mill, self.log
        clock = round(setting.clock / mill.roll_step) * mill.roll_step if setting.role == "log" else setting.clock
        refused = NOTHING
        for up_sign in (1.0, -1.0):
            wanted = up_sign * normal_at(log.axis, clock)
            pose = pose_piece(shape, wanted, log.axis, log.origin, mill, self.density)
            if isinstance(pose, NoPose):
                refused = Refused(pose.why)
                continue
            found = self._on_mill(setting, piece, shape, pose, up_sign)
            if isinstance(found, PosedSetting):
                return found
            refused = found
        return refused

    def _on_mill(
        self,
        setting: LayoutSetting,
        piece: Piece,
        shape: PieceShape,
        pose: Pose,
        sign: float,
        hold: BoltHold | None = None,
    ) -> PosedSetting | Refused:
        """The cuts at heights that the blade can be set to; `sign` −1 where the piece lies upside down.

        A log or a half is levelled by marks; a bolt lies as its `hold` says.
        """
        mill, log, lying_as = self.machines.mill, self.log, pose
        middle = float((log.origin + log.axis * log.reach / 2) @ pose.up)
        drawn = setting.slabs if sign > 0 else tuple(LayoutSlab(-s.top, s.thickness) for s in reversed(setting.slabs))
        faces = parallel_faces(log, piece, pose.up)
        slabs = tuple(LayoutSlab(s.low + middle, s.thickness) for s in drawn)
        thickest = thickness_max(self.machines) - mill.height_step
        slabs = fit_slabs(slabs, faces, mill.kerf, thickest)
        if hold is not None and not hold.flat:
            pose = _on_blocks(pose, slabs, faces, mill)
        real, heights = _set_blades(slabs, faces, mill, pose.height, thickest)
        if not heights:
            return Refused("no cut is needed")
        lateral = np.cross(pose.up, log.axis)
        lateral /= np.linalg.norm(lateral)
        widths = [widest_cut(shape, pose.up, height - pose.height, lateral) for height in heights]
        checks = setting_checks(shape, pose, heights, widths, mill)
        for check in checks:
            if check.breached:
                if hold is not None and check.what in AT_THE_LOWEST and len(setting.slabs) > 1:
                    # the slab next to the bed stays on what lies there; those over it are sawn all the same
                    kept = setting.slabs[:-1] if sign > 0 else setting.slabs[1:]
                    return self._on_mill(replace(setting, slabs=kept), piece, shape, lying_as, sign, hold)
                what = check.what.replace("_", " ")
                return Refused(f"{what} would be {check.value:.0f} mm where the limit is {check.limit:.0f} mm")
        marks = None if hold is not None else self._marks(piece, pose, heights[0] - pose.height)
        if marks is None and hold is None:
            return Refused("no line of its first cut meets both its ends")
        blades = tuple(
            (
                round(height - pose.height, 6),
                BladePlace(height, None if marks is None else height - marks.mean_height, width),
            )
            for height, width in zip(heights, widths, strict=True)
        )
        lying = MillPose(
            vector(pose.up),
            float(np.degrees(clock_of_normal(pose.up))),
            pose.butt_at,
            tuple(Lift(bunk, lift) for bunk, lift in pose.lifts),
            marks,
            None if marks is None else mark_room(pose, heights, mill),
        )
        drafted = Setting(
            Tool.MILL,
            piece.id,
            True,
            self._mill_minutes(piece, pose.up, float(np.ptp(shape.x)), len(heights)),
            weight_kg=pose.weight_kg,
            checks=checks,
            cautions=tuple(
                f"{check.what.replace('_', ' ')} is close to its limit: clearance run first, engine stopped and locked out"
                for check in checks
                if check.clearance_run
            ),
            pose=lying,
            support=None if hold is None else Support.BED if hold.flat else Support.CRADLE,
            against=None if hold is None else Against(hold.face.cut, hold.angle_deg),
        )
        return PosedSetting(pose.up, tuple(real), mill.kerf, drafted, blades, swapped=sign < 0)

    def _mill_minutes(self, piece: Piece, up: Array, length: float, cuts: int) -> float:
        mill = self.machines.mill
        minutes = minutes_of(length, cuts, mill.feed, mill.minutes_per_setting, mill.minutes_per_cut)
        return minutes + (0.0 if self._square(piece, up) else mill.minutes_off_square)

    def _square(self, piece: Piece, up: Array) -> bool:
        """Whether a half stands square on its sawn face, or has none."""
        sawn = [face for face in piece.faces if face not in self.log.piece.faces]
        if piece.kind != "half" or not sawn:
            return True
        return bool(abs(float(np.dot(sawn[0].normal, up))) < SQUARE)

    def _marks(self, piece: Piece, pose: Pose, offset: float) -> Marks | None:
        """The pith where the piece holds it at both ends, else points of a line beside its first cut that meets both."""
        butt, top = self.log.butt, self.log.top
        if all(bool(piece.holds(np.asarray(end.point)[None], END_LINE_SLACK)[0]) for end in (butt, top)):
            return Marks(_mark("pith", butt.point, pose), _mark("pith", top.point, pose))
        for shift in LINE_SHIFTS:
            first, second = (self._on_end(piece, end, pose.up, offset + shift) for end in (butt, top))
            if first is not None and second is not None:
                side = "under" if shift < 0 else "over"
                name = "first line" if shift == 0.0 else f"line {abs(shift):.0f} mm {side} the first"
                return Marks(_mark(name, first, pose), _mark(name, second, pose))
        return None

    def _on_end(self, piece: Piece, end: EndPlane, up: Array, offset: float) -> Array | None:
        """The middle of the wood that a drawn line crosses on one end face of a piece."""
        along = np.cross(end.normal, up)
        along /= np.linalg.norm(along)
        matrix = np.stack([end.normal, up, along])
        start = np.linalg.solve(matrix, np.array([end.normal @ end.point, offset, along @ end.point]))
        t = np.arange(-LINE_REACH, LINE_REACH, LINE_STEP)
        points = start + t[:, None] * along
        inside = piece.holds(points, END_LINE_SLACK) & (at_points(self.log.field, points, end.normal)[2] > 0)
        if inside.sum() < LEAST_POINTS:
            return None
        runs = np.split(np.flatnonzero(inside), np.flatnonzero(np.diff(np.flatnonzero(inside)) > 1) + 1)
        longest = max(runs, key=len)
        middle: Array = points[longest[len(longest) // 2]]
        return middle

    def _resaw_takes(self, shape: PieceShape) -> bool:
        """Whether a piece is neither too heavy nor too long for the shop's saw."""
        resaw = self.machines.resaw
        if resaw.piece_weight_max is not None and shape.volume * 1e-9 * self.density > resaw.piece_weight_max:
            return False
        return resaw.piece_length_max is None or length_along(shape, self.log.axis) <= resaw.piece_length_max

    def _resaw(self, setting: LayoutSetting, piece: Piece, shape: PieceShape, hold: BoltHold) -> PosedSetting | Refused:
        """The setting on the resaw, where it is not too high for it."""
        resaw, log, normal = self.machines.resaw, self.log, hold.normal
        if float(normal @ normal_at(log.axis, setting.clock)) < 0.0:
            normal = -normal
        middle = float((log.origin + log.axis * log.reach / 2) @ normal)
        faces = parallel_faces(log, piece, normal)
        slabs = tuple(LayoutSlab(s.low + middle, s.thickness) for s in setting.slabs)
        slabs = fit_slabs(slabs, faces, resaw.kerf, thickness_max(self.machines))
        lateral = np.cross(normal, log.axis)
        lateral /= np.linalg.norm(lateral)
        cuts = _resaw_cuts(slabs, faces, resaw.kerf)
        if not cuts:
            return NOTHING
        highest = max(widest_cut(shape, normal, cut, lateral) for cut in cuts)
        if highest > resaw.height_max:
            why = f"a cut would be {highest:.0f} mm high where the resaw takes {resaw.height_max:.0f} mm"
            return Refused(why, "in the shop")
        length = float(np.ptp(shape.x))
        drafted = Setting(
            Tool.RESAW,
            piece.id,
            not hold.flat,
            minutes_of(length, len(cuts), resaw.feed, resaw.minutes_per_setting, resaw.minutes_per_cut),
            weight_kg=shape.volume * 1e-9 * self.density,
            support=Support.FENCE if hold.flat else Support.CRADLE,
            against=Against(hold.face.cut, hold.angle_deg),
        )
        return PosedSetting(normal, slabs, resaw.kerf, drafted)


ON_FACE = 1.0
"""A piece that comes within this of a face's plane is bounded by it. [mm]"""


def _bounds(face: Face, shape: PieceShape) -> bool:
    """Whether a cut's face is still one of the piece's own: a parallel cut further in leaves nothing of it to lie on."""
    return bool((np.abs(shape.points @ np.asarray(face.normal) - face.offset) < ON_FACE).any())


BLOCK_STEP = 5.0
"""Blocks under a cradle come in steps of this. [mm]"""


def _on_blocks(pose: Pose, slabs: Slabs, faces: ParallelFaces, mill: BandMill) -> Pose:
    """A bolt in a cradle raised so far that its lowest cut clears what the blade and the dogs need."""
    lowest = slabs[-1].low if not faces.carries(slabs[-1]) else slabs[-1].top + mill.kerf
    short = max(mill.blade_min, mill.clamp_room) - (lowest - mill.kerf + pose.height)
    return replace(pose, height=pose.height + max(0.0, float(np.ceil(short / BLOCK_STEP)) * BLOCK_STEP))


def _upward(hold: BoltHold) -> Array:
    """The cuts' normal as it points up on the mill, where the face that holds the bolt is below it."""
    return hold.normal if float(hold.normal @ np.asarray(hold.face.normal)) < 0.0 else -hold.normal


def _set_blades(
    slabs: Slabs, faces: ParallelFaces, mill: BandMill, height: float, thickest: float = np.inf
) -> tuple[list[LayoutSlab], list[float]]:
    """Slabs as blade heights in whole steps make them, none thinner than drawn, and the heights from the top down.

    A slab that rests on the bed is as thick as the lowest cut allows. Where that or the steps leave a thin board under another slab, the
    lower one keeps it, up to `thickest`, as in `close_gaps`. [mm]

    A face n·X stands at n·X + `height` over the bed. Where the lowest slab rests on a sawn face the heights are counted up
    from it, else down from the topmost cut.
    """
    rests = faces.floor is not None and abs(slabs[-1].low - faces.floor) < SAME_FACE
    hangs = faces.ceiling is not None and abs(faces.ceiling - slabs[0].top) < SAME_FACE
    ceiling = faces.ceiling if hangs else None
    if rests and faces.floor is not None:
        return _blades_from_below(slabs, faces.floor, ceiling, mill, (height, thickest))
    return _blades_from_above(slabs, ceiling, mill, (height, thickest))


MOST_THICKER = 10.0
"""A slab next to the bed that the blade cannot reach is made thicker by up to this where others lie over it; alone, by any amount. [mm]"""


def _blades_from_below(
    slabs: Slabs, floor: float, ceiling: float | None, mill: BandMill, room: tuple[float, float]
) -> tuple[list[LayoutSlab], list[float]]:
    kerf, step, (height, thickest) = mill.kerf, mill.height_step, room
    real: list[LayoutSlab] = []
    blades: list[float] = []
    for i, slab in enumerate(reversed(slabs)):
        if i and slab.low - floor > CLOSE_GAP:  # the next slab up starts with a cut of its own
            blades.append(float(np.ceil((slab.low - kerf / 2 + height) / step - 1e-6) * step))
            under = blades[-1] - height - kerf / 2
            floor = under + kerf
            if slab.low - real[-1].top - kerf < LEAST_BOARD + kerf and under - real[-1].low <= thickest:
                del blades[-2]
                real[-1] = LayoutSlab(real[-1].low, under - real[-1].low)
        if ceiling is not None and i == len(slabs) - 1:
            real.append(LayoutSlab(floor, ceiling - floor))
            continue
        blade = float(np.ceil((floor + slab.thickness + kerf / 2 + height) / step - 1e-6) * step)
        lowest = float(np.ceil(max(mill.blade_min, mill.clamp_room) / step - 1e-6) * step)
        if i == 0 and (len(slabs) == 1 or lowest - blade <= MOST_THICKER):
            blade = max(blade, lowest)
        blades.append(blade)
        top = blade - height - kerf / 2
        real.append(LayoutSlab(floor, top - floor))
        floor = top + kerf
    return real[::-1], blades[::-1]


def _blades_from_above(
    slabs: Slabs, ceiling: float | None, mill: BandMill, room: tuple[float, float]
) -> tuple[list[LayoutSlab], list[float]]:
    kerf, step, (height, thickest) = mill.kerf, mill.height_step, room
    real: list[LayoutSlab] = []
    blades: list[float] = []
    last = np.inf if ceiling is None else ceiling  # offset n·X under the last kerf
    for slab in slabs:
        if CLOSE_GAP < last - slab.top < LEAST_BOARD + kerf and last - slab.low <= thickest:
            slab = LayoutSlab(slab.low, last - slab.low)
        if last - slab.top > CLOSE_GAP:  # a cut of its own above the slab
            blades.append(float(round((slab.top + kerf / 2 + height) / step) * step))
            last = blades[-1] - height - kerf / 2
        blade = float(np.floor((last - slab.thickness - kerf / 2 + height) / step + 1e-6) * step)
        blades.append(blade)
        bottom = blade - height + kerf / 2
        real.append(LayoutSlab(bottom, last - bottom))
        last = bottom - kerf
    return real, blades


def _resaw_cuts(slabs: Slabs, faces: ParallelFaces, kerf: float) -> list[float]:
    """Kerf-centre offsets of a run of slabs, one kerf shared by neighbours."""
    out: list[float] = []
    last = np.inf if faces.ceiling is None else faces.ceiling
    for slab in slabs:
        if last - slab.top > SAME_FACE:
            out.append(slab.top + kerf / 2)
        if not faces.carries(slab):
            out.append(slab.low - kerf / 2)
        last = slab.low - kerf
    return out


def _mark(name: str, point: Array, pose: Pose) -> Mark:
    return Mark(name, vector(point), float(pose.height_of(point)))
