"""The outline of a log over all its stations: bark told apart, stubs left out, rims of the faces and drift made use of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.logmodel.bark_points import split_bark_from_bearers, within_faces
from pithline.logmodel.cells import cell_of, dilated_round
from pithline.logmodel.drift import Drift, two_sides_drift
from pithline.logmodel.face_rims import hidden_rims
from pithline.logmodel.judge import judge
from pithline.logmodel.laid_log import LaidLog
from pithline.logmodel.layers import Layers, two_layers
from pithline.logmodel.model import FitFinding, SuspectedKnot
from pithline.logmodel.stubs import find_stubs
from pithline.logmodel.surface import Surface, fit_surface, on_stations, with_harmonics

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

HARMONICS = 10
"""Of clock angle: ridges of bark narrower than a twentieth of the girth are texture, not outline."""
FIRST_ROUNDS, ROUNDS = 6, 4
FIRST_WIDTH = 0.1
"""Points this far off the coarse surface still pull the outline. [radii]"""
RIM_TURNS = 2
"""Rims are read against the outline: one that runs askew to them, as hidden girth does at first, shows the far side of each sector."""
BOTH = 2.0
"""Of two layers so far apart both pull the outline, points this many times as far off among them."""
CLEAR_OF_FACES = 0.08
"""So near to a scanned face its own points lie among those of bark, as a second layer would. [radii]"""
WIDTH = 4.0
"""And in standard deviations off the outline itself."""


@dataclass(frozen=True, slots=True)
class FittedOutline:
    """The surface, the log's own `points` (n, 3) between the faces, its stubs as a list and a mask (stations, 72), the count of
    points of bearers, drift if the faces tell of it, two layers if the scan shows them, and what the judge found.
    """

    surface: Surface
    points: Array
    knots: tuple[SuspectedKnot, ...]
    stubs: Mask
    bearers: int
    drift: Drift | None
    layers: Layers | None
    findings: tuple[FitFinding, ...]


def fit_outline(laid: LaidLog) -> FittedOutline:
    """The surface over all stations; stubs found, left out of it, and listed; drift told and undone."""
    coarse = laid.coarse
    bark, foreign = split_bark_from_bearers(laid.log, coarse, laid.faces)
    points = laid.log.points[bark]
    start = with_harmonics(coarse, HARMONICS)
    surface = fit_surface(points, start, FIRST_ROUNDS, FIRST_WIDTH * coarse.radius)
    own = laid.log.points[within_faces(laid.log.points, laid.faces, 0.0) & ~foreign]
    bearers = laid.log.points[foreign]
    _, stubs = find_stubs(own, surface, bearers)
    cell = cell_of(points[:, 0], surface.residuals(points)[1], surface.x)
    bare = points[~dilated_round(stubs)[cell]]
    width = WIDTH * surface.scale
    for _ in range(RIM_TURNS):
        rims = hidden_rims(laid.log.points, surface, laid.faces)
        surface = fit_surface(bare, surface, ROUNDS, width, rims)
        if rims is None:
            break
    drift = two_sides_drift(laid.log.points, surface, laid.faces)
    if drift is not None and drift.significant:
        bare, own = drift.taken_out_of(bare, surface), drift.taken_out_of(own, surface)
        surface = fit_surface(bare, surface, ROUNDS, width, rims)
    clear = within_faces(own, laid.faces, CLEAR_OF_FACES * surface.radius)
    layers = two_layers(own[clear], on_stations(surface, bare))
    if layers is not None:
        # a narrow weight would follow now this layer, now that: either may be right, so both count
        surface = fit_surface(bare, surface, ROUNDS, width, rims, BOTH * layers.apart)
    surface = on_stations(surface, bare)
    knots, stubs = find_stubs(own, surface, bearers)
    findings = judge(surface, own, stubs, layers)
    return FittedOutline(surface, own, knots, stubs, int(foreign.sum()), drift, layers, findings)
