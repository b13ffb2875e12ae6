"""Settings as machines can make them: poses on the mill with lifts, marks and heights, or cuts in the shop against a face."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pithline.geometry.pieces import Face, Piece
from pithline.mill.limits import breached, mark_room, setting_checks
from pithline.mill.machine import Machines
from pithline.mill.pose import NoPose, Pose, pose_piece
from pithline.mill.sections import LogSections, PieceShape, length_along, piece_shape, widest_cut
from pithline.plan.execute.ledger import Ledger
from pithline.plan.execute.shop import minutes_of
from pithline.plan.execute.simulate import CLOSE_GAP, ParallelFace, PosedSetting, fit_slabs, parallel_faces
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab
from pithline.plan.problem.log_frame import PlanLog, clock_of_normal, normal_at
from pithline.wood.field import at_points

Array = NDArray[np.float64]


@dataclass(slots=True)
class MachinePoser:
    """Poses every setting on the mill or the resaw; where neither takes it, says why in the ledger's cautions."""

    log: PlanLog
    sections: LogSections
    machines: Machines
    density: float
    refused: list[str] = field(default_factory=list)

    def pose(self, setting: LayoutSetting, piece: Piece, ledger: Ledger) -> PosedSetting | None:
        """The setting on the first machine that takes it: bolts on the resaw if they may, all else on the mill."""
        shape = piece_shape(self.sections, piece, bark=True)
        if len(shape.x) < 2 or not setting.slabs:
            return None
        if setting.role == "bolt":
            found = self._resaw(setting, piece, shape)
            if found is not None:
                return found
        return self._mill(setting, piece, shape, ledger)

    def _mill(self, setting: LayoutSetting, piece: Piece, shape: PieceShape, ledger: Ledger) -> PosedSetting | None:
        mill, log = self.machines.mill, self.log
        clock = round(setting.clock / mill.roll_step) * mill.roll_step if setting.role == "log" else setting.clock
        why = ""
        for up_sign in (1.0, -1.0):
            wanted = up_sign * normal_at(log.axis, clock)
            pose = pose_piece(shape, wanted, log.axis, log.origin, mill, self.density)
            if isinstance(pose, NoPose):
                why = pose.why
                continue
            found = self._heights(setting, piece, shape, pose, up_sign)
            if isinstance(found, PosedSetting):
                return found
            why = found
        if why not in self.refused:
            self.refused.append(why)
            ledger.cautions.append(f"a {piece.kind} is left whole, since on the mill {why}")
        return None

    def _heights(
        self, setting: LayoutSetting, piece: Piece, shape: PieceShape, pose: Pose, sign: float
    ) -> PosedSetting | str:
        mill, log = self.machines.mill, self.log
        kerf, step = mill.kerf, mill.height_step
        middle = float((log.origin + log.axis * log.reach / 2) @ pose.up)
        drawn = setting.slabs if sign > 0 else tuple(LayoutSlab(-s.top, s.thickness) for s in reversed(setting.slabs))
        slabs = tuple(LayoutSlab(s.low + middle, s.thickness) for s in drawn)
        low, high = parallel_faces(log, piece, pose.up)
        slabs = fit_slabs(slabs, low, high, kerf)
        pose_height = pose.height
        real, blades = _set_blades(slabs, low, high, kerf, step, pose_height)
        if not blades:
            return "no cut is needed"
        lateral = np.cross(pose.up, log.axis)
        lateral /= np.linalg.norm(lateral)
        widths = [widest_cut(shape, pose.up, b - pose_height, lateral) for b in blades]
        checks = setting_checks(shape, pose, blades, widths, mill)
        for line in checks:
            if breached(line):
                return f"{line['what'].replace('_', ' ')} would be {line['value']:.0f} mm where the limit is {line['limit']:.0f} mm"
        marks = self._marks(piece, pose, blades[0] - pose_height)
        if marks is None:
            return "no line of its first cut meets both its ends"
        mean = (marks["butt"]["height"] + marks["top"]["height"]) / 2
        by_offset = {round(b - pose_height, 6): (b, w) for b, w in zip(blades, widths, strict=True)}

        def per_cut(_piece: Piece, offset: float) -> dict:
            key = min(by_offset, key=lambda k: abs(k - offset))
            blade, width = by_offset[key]
            return {"blade_height": blade, "from_mark": blade - mean, "width": width}

        cautions = [
            f"{line['what'].replace('_', ' ')} is close to its limit: clearance run first, engine stopped and locked out"
            for line in checks
            if line.get("clearance_run")
        ]
        entry = {
            "weight_kg": pose.weight_kg,
            "checks": checks,
            "cautions": cautions,
            "up": [float(v) for v in pose.up],
            "roll": float(np.degrees(clock_of_normal(pose.up))),
            "butt_at": pose.butt_at,
            "lifts": [{"bunk": b, "lift": v} for b, v in pose.lifts],
            "marks": marks,
            "mark_room": mark_room(pose, blades, mill),
        }
        length = float(np.ptp(shape.x))
        square = self._square(piece, pose.up)
        minutes = minutes_of(length, len(blades), mill.feed, mill.minutes_per_setting) + (
            0.0 if square else mill.minutes_off_square
        )
        swap = sign < 0
        return PosedSetting(pose.up, tuple(real), "mill", kerf, True, entry, per_cut, minutes, swap)

    def _square(self, piece: Piece, up: Array) -> bool:
        """Whether a half stands square on its sawn face, or has none."""
        sawn = [face for face in piece.faces if face not in self.log.piece.faces]
        if piece.kind != "half" or not sawn:
            return True
        return abs(float(np.dot(sawn[0].normal, up))) < np.sin(np.radians(1.2))

    def _marks(self, piece: Piece, pose: Pose, offset: float) -> dict | None:
        planes = (self.log.butt, self.log.top)
        ends = tuple(plane.point for plane in planes)
        if all(bool(piece.holds(np.asarray(p)[None], 1e-3)[0]) for p in ends):
            return {side: _mark("pith", p, pose) for side, p in zip(("butt", "top"), ends, strict=True)}
        for shift in (0.0, -10.0, 10.0, -20.0, 20.0, -35.0, 35.0, -50.0, 50.0, -70.0, 70.0):
            points = [self._on_end(piece, plane.point, plane.normal, pose.up, offset + shift) for plane in planes]
            if points[0] is not None and points[1] is not None:
                name = (
                    "first line"
                    if shift == 0.0
                    else f"line {abs(shift):.0f} mm {'under' if shift < 0 else 'over'} the first"
                )
                return {side: _mark(name, p, pose) for side, p in zip(("butt", "top"), points, strict=True)}
        return None

    def _on_end(self, piece: Piece, point: Array, normal: Array, up: Array, offset: float) -> Array | None:
        """The middle of the wood that a drawn line crosses on one end face of a piece."""
        along = np.cross(normal, up)
        along /= np.linalg.norm(along)
        matrix = np.stack([normal, up, along])
        start = np.linalg.solve(matrix, np.array([normal @ point, offset, along @ point]))
        t = np.arange(-700.0, 700.0, 4.0)
        points = start + t[:, None] * along
        inside = piece.holds(points) & (at_points(self.log.field, points, normal)[2] > 0)
        if inside.sum() < 3:
            return None
        runs = np.split(np.flatnonzero(inside), np.flatnonzero(np.diff(np.flatnonzero(inside)) > 1) + 1)
        longest = max(runs, key=len)
        return points[longest[len(longest) // 2]]

    def _resaw(self, setting: LayoutSetting, piece: Piece, shape: PieceShape) -> PosedSetting | None:
        resaw, log = self.machines.resaw, self.log
        if len(piece.faces) == len(log.piece.faces):
            return None
        weight = shape.volume * 1e-9 * self.density
        if resaw.piece_weight_max is not None and weight > resaw.piece_weight_max:
            return None
        if resaw.piece_length_max is not None and length_along(shape, log.axis) > resaw.piece_length_max:
            return None
        face, normal, angle = _against(piece, log.axis, normal_at(log.axis, setting.clock))
        middle = float((log.origin + log.axis * log.reach / 2) @ normal)
        low, high = parallel_faces(log, piece, normal)
        slabs = tuple(LayoutSlab(s.low + middle, s.thickness) for s in setting.slabs)
        slabs = fit_slabs(slabs, low, high, resaw.kerf)
        lateral = np.cross(normal, log.axis)
        lateral /= np.linalg.norm(lateral)
        cuts = _resaw_cuts(slabs, low, high, resaw.kerf)
        if not cuts or max(widest_cut(shape, normal, c, lateral) for c in cuts) > resaw.height_max:
            return None
        flat = angle < 0.05
        entry = {
            "weight_kg": weight,
            "support": "fence" if flat else "cradle",
            "against": {"face": face.cut, "angle_deg": angle},
        }
        minutes = minutes_of(float(np.ptp(shape.x)), len(cuts), resaw.feed, resaw.minutes_per_setting)
        return PosedSetting(normal, slabs, "resaw", resaw.kerf, not flat, entry, lambda p, o: {}, minutes)


def _set_blades(
    slabs: tuple[LayoutSlab, ...],
    low: ParallelFace | None,
    high: ParallelFace | None,
    kerf: float,
    step: float,
    height: float,
) -> tuple[list[LayoutSlab], list[float]]:
    """Slabs as blade heights in whole steps make them, none thinner than drawn, and the heights from the top down.

    A face n·X stands at n·X + `height` over the bed. Where the lowest slab rests on a sawn face the heights are counted up
    from it, else down from the topmost cut.
    """
    rests = low is not None and abs(slabs[-1].low - low.height) < 0.3
    hangs = high is not None and abs(high.height - slabs[0].top) < 0.3
    real: list[LayoutSlab] = []
    blades: list[float] = []
    if rests and low is not None:
        floor = low.height
        for i, slab in enumerate(reversed(slabs)):
            if i and slab.low - floor > CLOSE_GAP:  # the next slab up starts with a cut of its own
                blades.append(float(np.ceil((slab.low - kerf / 2 + height) / step - 1e-6) * step))
                floor = blades[-1] - height + kerf / 2
            if hangs and high is not None and i == len(slabs) - 1:
                real.append(LayoutSlab(floor, high.height - floor))
                continue
            blade = float(np.ceil((floor + slab.thickness + kerf / 2 + height) / step - 1e-6) * step)
            blades.append(blade)
            top = blade - height - kerf / 2
            real.append(LayoutSlab(floor, top - floor))
            floor = top + kerf
        return real[::-1], blades[::-1]
    last = high.height if hangs and high is not None else np.inf  # offset n·X under the last kerf
    for slab in slabs:
        if last - slab.top > CLOSE_GAP:  # a cut of its own above the slab
            blades.append(float(round((slab.top + kerf / 2 + height) / step) * step))
            last = blades[-1] - height - kerf / 2
        blade = float(np.floor((last - slab.thickness - kerf / 2 + height) / step + 1e-6) * step)
        blades.append(blade)
        bottom = blade - height + kerf / 2
        real.append(LayoutSlab(bottom, last - bottom))
        last = bottom - kerf
    return real, blades


def _resaw_cuts(
    slabs: tuple[LayoutSlab, ...], low: ParallelFace | None, high: ParallelFace | None, kerf: float
) -> list[float]:
    """Kerf-centre offsets of a run of slabs, one kerf shared by neighbours."""
    out: list[float] = []
    last = np.inf if high is None else high.height
    for slab in slabs:
        if last - slab.top > 0.3:
            out.append(slab.top + kerf / 2)
        if low is None or slab.low - low.height > 0.3:
            out.append(slab.low - kerf / 2)
        last = slab.low - kerf
    return out


def _against(piece: Piece, axis: Array, wanted: Array) -> tuple[Face, Array, float]:
    """The sawn face a piece lies on, and the blade's normal turned about that face's own line: (face, normal, degrees)."""
    best: tuple[Face, Array, float] | None = None
    for face in piece.faces:
        f = np.asarray(face.normal)
        line = axis - (axis @ f) * f
        if np.linalg.norm(line) < 0.5:
            continue
        line /= np.linalg.norm(line)
        flat = wanted - (wanted @ line) * line
        flat /= np.linalg.norm(flat)
        across = np.cross(line, f)
        turn = np.degrees(np.arctan2(flat @ across, flat @ f))
        lean = min(abs(turn), 180.0 - abs(turn))
        if lean < 1.2:
            return face, f if abs(turn) < 90 else -f, 0.0
        if best is None or face is piece.faces[-1]:
            best = (face, flat, float(lean))
    assert best is not None
    return best


def _mark(name: str, point: Array, pose: Pose) -> dict:
    return {"name": name, "point": [float(v) for v in point], "height": float(pose.height_of(point))}
