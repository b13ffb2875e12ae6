"""What a picture of a plan shows: pieces as meshes, where they move when spread, growth layers, colours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from pithline.logmodel.model import clock_of
from pithline.outputs.cut_script.sawn_pieces import SawnPieces
from pithline.outputs.cut_script.tree import ON_THE_MILL
from pithline.outputs.preview.solids import Mesh, piece_meshes, plate_box
from pithline.wood.field import WoodField, wood_field

Array = NDArray[np.float64]

RING_STEPS = (45.0, 60.0, 70.0, 75.0, 80.0, 85.0)
"""Ring angles at which the colour changes [°]; 45, 60 and 75 are where sources begin to speak of quartersawn."""
RING_COLOURS = ("#f6e3a1", "#e8bb55", "#d0954a", "#8094a6", "#4f86c2", "#2f62b0", "#16306e")
"""From flat sawn to quartered. Yellow to blue tells apart in every common kind of colour blindness, and the darker the
steeper, so that grey prints tell it too."""


@dataclass(frozen=True, eq=False)
class Scene:
    """A sawn log with its meshes; everything in the log frame, mm."""

    log: SawnPieces

    @cached_property
    def meshes(self) -> dict[str, Mesh]:
        """Mesh of every piece by id; plates as exact boxes."""
        found = piece_meshes(self.log.script)
        return found | {name: plate_box(plate) for name, plate in self.log.plates.items() if name in found}

    @cached_property
    def wood(self) -> WoodField:
        """Where the growth layers run."""
        return wood_field(self.log.model)

    @cached_property
    def leaves(self) -> list[str]:
        """Pieces that are left when all is sawn, in the order made."""
        parted = {cut.piece for cut in self.log.cuts.values()}
        return [name for name in self.meshes if name not in parted]

    def spread(self, piece: str, gap: float) -> Array:
        """How far a piece moves when the mill's cuts open by `gap` [mm], (3,)."""
        shift = np.zeros(3)
        for face in self.log.faces(piece):
            if self.log.cuts[face.cut].tool in ON_THE_MILL:
                shift -= face.normal * gap / 2.0
        return shift

    def layer(self, points: Array) -> Array:
        """Growth-layer coordinate ρ of points (n, 3): 0 at the pith, 1 under the bark."""
        wood = self.wood
        at = np.clip((points[:, 0] - wood.x0) / wood.dx, 0.0, len(wood.pith) - 1.0)
        stations = np.arange(len(wood.pith))
        away = points[:, 1:] - np.column_stack([np.interp(at, stations, wood.pith[:, k]) for k in (0, 1)])
        degrees = np.degrees(clock_of(away))
        radius = map_coordinates(wood.radius, np.stack([at, degrees]), order=1, mode="nearest")
        return np.asarray(np.hypot(away[:, 0], away[:, 1]) / radius, float)


def ring_step(degrees: float) -> int:
    """Which of the colours a ring angle has."""
    return int(np.searchsorted(RING_STEPS, degrees, side="right"))


def ring_legend() -> list[tuple[str, str]]:
    """(colour, words) of every step, the steepest first."""
    edges = (0.0, *RING_STEPS, 90.0)
    words = [f"{low:.0f}–{high:.0f}°" for low, high in pairwise(edges)]
    return list(zip(RING_COLOURS, words, strict=True))[::-1]
