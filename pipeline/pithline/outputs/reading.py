"""A cut script read for printing: who made which piece, its faces, its ends, its section."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from pithline.logmodel.model import EndPlane, LogModel, clock_angles, radius_at
from pithline.outputs.ends import EndFace, end_face, read_model

Array = NDArray[np.float64]
FAR = 1.0e5


@dataclass(frozen=True)
class Script:
    """One cut script (design section 6), indexed."""

    document: Mapping[str, Any]

    @cached_property
    def model(self) -> LogModel:
        """The log model the script carries."""
        return read_model(self.document["model"])

    @cached_property
    def pieces(self) -> dict[str, Mapping[str, Any]]:
        """Pieces by id."""
        return {one["id"]: one for one in self.document["pieces"]}

    @cached_property
    def plates(self) -> dict[str, Mapping[str, Any]]:
        """Plates by piece id."""
        return {one["id"]: one for one in self.document["plates"]}

    @cached_property
    def plates_in(self) -> dict[str, int]:
        """How many plates are sawn from a piece, for every piece that gives any."""
        found: dict[str, int] = {}
        for plate in self.plates:
            for one in self.line_of(plate):
                found[one] = found.get(one, 0) + 1
        return found

    @cached_property
    def cuts(self) -> dict[str, Mapping[str, Any]]:
        """Cuts by id."""
        return {one["id"]: one for one in self.document["operations"] if one["op"] == "cut"}

    @cached_property
    def settings(self) -> list[Mapping[str, Any]]:
        """Settings in working order, dried ones last."""
        found = [one for one in self.document["operations"] if one["op"] == "setting"]
        return sorted(found, key=lambda one: one.get("stage") == "dried")

    @cached_property
    def _by_setting(self) -> dict[str, list[Mapping[str, Any]]]:
        found: dict[str, list[Mapping[str, Any]]] = {one["id"]: [] for one in self.settings}
        for cut in self.cuts.values():
            found[cut["setting"]].append(cut)
        return found

    @cached_property
    def numbers(self) -> dict[str, int]:
        """The number of every cut as the sheet, the templates and the crayon say it: 1 is the first.

        A script that was planned anew leaves numbers out: those that stand on wood already keep their meaning.
        """
        own = [re.fullmatch(r"cut-(\d+)", cut) for cut in self.cuts]
        if all(own):
            return {cut: int(found[1]) for cut, found in zip(self.cuts, own, strict=True) if found}
        return {cut: index for index, cut in enumerate(self.cuts, 1)}

    @cached_property
    def sawn(self) -> frozenset[str]:
        """Settings that were sawn before the script was planned anew."""
        return frozenset(self.document.get("replan", {}).get("kept", ()))

    @cached_property
    def ahead(self) -> list[Mapping[str, Any]]:
        """Settings still to come, in working order."""
        return [one for one in self.settings if one["id"] not in self.sawn]

    @cached_property
    def in_hand(self) -> list[str]:
        """Pieces that exist before the settings still to come, offcuts included, in the order they were sawn."""
        cuts = [one for one in self.cuts.values() if one["setting"] in self.sawn]
        used = {one["piece"] for one in cuts}
        return [one[side] for one in cuts for side in ("above", "below") if one[side] not in used]

    @property
    def scale_drop(self) -> float:
        """How far the mill's scale reads under the kerf's centre. [mm]"""
        mill = self.document["inputs"]["mill"]
        mill = mill.get("mill", mill)
        return float(mill.get("kerf", 0.0)) / 2.0 if mill.get("scale_reads", "centre") == "lower" else 0.0

    @property
    def pith_radius(self) -> float:
        """Radius of the pith circle [mm] as the card gives it, at least one millimetre."""
        card = self.document["inputs"]["card"]
        value = card.get("pith_radius") or (card.get("pith") or {}).get("radius") or 0.0
        return max(float(value), 1.0)

    @cached_property
    def mill_numbers(self) -> dict[str, int]:
        """The number of every setting on the mill, by its id: 1 is the first."""
        on_mill = [one["id"] for one in self.settings if one["tool"] == "mill"]
        return {name: number for number, name in enumerate(on_mill, 1)}

    def from_mill(self, piece: str) -> str:
        """The piece as it came off the mill (or the chain saw) that a piece was made from."""
        for one in self.line_of(piece):
            made = self.pieces[one].get("made_by")
            if made is None or self.cuts[made]["tool"] in ("mill", "buck"):
                return one
        return piece

    def cuts_of(self, setting: Mapping[str, Any]) -> list[Mapping[str, Any]]:
        """The cuts of one setting, in order."""
        return self._by_setting[setting["id"]]

    def mark(self, piece: str) -> str:
        """The crayon mark of a piece."""
        return self.pieces[piece].get("mark") or piece

    def parent(self, piece: str) -> str | None:
        """The piece a piece was sawn from."""
        made = self.pieces[piece].get("made_by")
        return self.cuts[made]["piece"] if made else None

    def line_of(self, piece: str) -> list[str]:
        """A piece and all it came from, the log last."""
        found = [piece]
        while (above := self.parent(found[-1])) is not None:
            found.append(above)
        return found

    def faces(self, piece: str) -> list[tuple[Array, float, str]]:
        """The sawn faces of a piece: outward normal, offset, cut; the newest first."""
        found = []
        for one in self.line_of(piece):
            made = self.pieces[one].get("made_by")
            if made:
                cut = self.cuts[made]
                sign = -1.0 if cut["above"] == one else 1.0
                found.append((sign * np.array(cut["normal"], float), sign * cut["offset"] - cut["kerf"] / 2.0, made))
        return found

    def own_log(self, piece: str) -> str:
        """The log, whole or bucked, that a piece belongs to."""
        for one in self.line_of(piece):
            made = self.pieces[one].get("made_by")
            if made is None or (self.pieces[one]["kind"] == "log" and self.cuts[made]["tool"] == "buck"):
                return one
        raise ValueError(f"{piece} came from no log")

    def ends(self, piece: str) -> tuple[EndFace, EndFace]:
        """Butt and top face of the log, whole or bucked, that a piece belongs to."""
        log = self.own_log(piece)
        if log not in self._ends:
            planes = {"butt": self.model.butt, "top": self.model.top}
            for normal, offset, _ in reversed(self.faces(log)):
                planes["butt" if normal[0] < 0.0 else "top"] = EndPlane(normal * offset, normal)
            self._ends[log] = (end_face(self.model, "butt", planes["butt"]), end_face(self.model, "top", planes["top"]))
        return self._ends[log]

    @cached_property
    def _ends(self) -> dict[str, tuple[EndFace, EndFace]]:
        return {}

    def part_of_face(self, piece: str, face: EndFace) -> Polygon:
        """What of an end face belongs to a piece, in face coordinates."""
        shape = Polygon(face.over_bark).buffer(0.0)
        for normal, offset, _ in self.faces(piece):
            in_face = np.array([normal @ face.right, normal @ face.up])
            shape = _clip(shape, in_face, offset - float(normal @ face.pith))
        return shape

    def section(self, piece: str, x: float, right: Array, up: Array) -> Polygon:
        """Section of a piece, bark and envelope included, at station x; coordinates X·right and X·up."""
        points = self._envelope(x)
        shape = Polygon(np.column_stack([points @ right, points @ up])).buffer(0.0)
        for normal, offset, _ in self.faces(piece):
            if abs(normal[0]) > 0.7:  # an end made by crosscutting does not bound the section
                continue
            in_face = np.array([normal @ right, normal @ up])
            along = normal - in_face[0] * right - in_face[1] * up
            shape = _clip(shape, in_face, offset - float(along[0] * x))
        return shape

    def _envelope(self, x: float) -> Array:
        """Points (n, 3) of the envelope at station x; stations are asked for again and again."""
        if x not in self._envelopes:
            clock = clock_angles()
            radius = radius_at(self.model, self.model.envelope, x, clock)
            centre = self.model.splines(self.model.centre)(x)
            yz = centre + radius[:, None] * np.stack([-np.sin(clock), np.cos(clock)], axis=-1)
            self._envelopes[x] = np.column_stack([np.full(len(yz), x), yz])
        return self._envelopes[x]

    @cached_property
    def _envelopes(self) -> dict[float, Array]:
        return {}

    @cached_property
    def noted(self) -> dict[str, Any]:
        """What was found out about a setting, by its id, so that it is found out once."""
        return {}

    def size(self, piece: str) -> tuple[float, float, float] | None:
        """Length, width and thickness [mm] of a piece at its mid-length, by its newest face along it; `None` of none."""
        low, high = self.stretch(piece)
        along = next((normal for normal, _, _ in self.faces(piece) if abs(normal[0]) < 0.7), None)
        up = np.array([0.0, 0.0, 1.0]) if along is None else along
        right = np.cross(up, [-1.0, 0.0, 0.0])
        right /= np.linalg.norm(right)
        shape = self.section(piece, round((low + high) / 2.0, -1), right, up)
        if shape.is_empty:
            return None
        spans = sorted((shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1]), reverse=True)
        return high - low, spans[0], spans[1]

    def stretch(self, piece: str) -> tuple[float, float]:
        """Least and greatest station of a piece, as its newest crosscut or log ends have it at the pith."""
        butt, top = self.ends(piece)
        found = {"butt": float(butt.pith[0]), "top": float(top.pith[0])}
        for normal, offset, _ in reversed(self.faces(piece)):
            if abs(normal[0]) > 0.7:
                found["butt" if normal[0] < 0.0 else "top"] = float((offset - normal[1:] @ butt.pith[1:]) / normal[0])
        return found["butt"], found["top"]


def _clip(shape: Polygon, normal: Array, offset: float) -> Polygon:
    """What of a shape lies where normal·p ≤ offset."""
    size = float(np.hypot(*normal))
    if size < 1e-9:
        return shape if offset >= 0.0 else Polygon()
    n, d = normal / size, offset / size
    if shape.is_empty:
        return shape
    low, high = np.array(shape.bounds[:2]), np.array(shape.bounds[2:])
    if np.where(n > 0.0, high, low) @ n <= d:  # most faces of a piece were cut away since: its box tells
        return shape
    t, foot = np.array([-n[1], n[0]]), n * d
    corners = [foot + t * FAR, foot - t * FAR, foot - t * FAR - n * FAR, foot + t * FAR - n * FAR]
    return shape.intersection(Polygon(corners))


def rings(shape: Any) -> list[Array]:
    """The outer rings (n, 2) of a shape of one or several lumps."""
    parts = getattr(shape, "geoms", [shape])
    return [np.asarray(one.exterior.coords) for one in parts if isinstance(one, Polygon) and not one.is_empty]
