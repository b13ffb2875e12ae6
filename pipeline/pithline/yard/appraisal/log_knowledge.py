"""What is known of one log, and how well: the log as it is most likely, with every doubt kept apart.

A plan's log carries one doubt of its surface and one of its pith. Here they are split by where they come from, since each
could be lessened by another deed: gauging the bark, marking the pith, scanning the far side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from pithline.files.priors import Priors
from pithline.logmodel.bark_thickness import BARK_VARIES
from pithline.logmodel.card import Card
from pithline.logmodel.dimensions import coverage, volume
from pithline.logmodel.model import LogModel
from pithline.logmodel.species import species_of
from pithline.plan.api import PlanLog, plan_log
from pithline.trade.volumes import circle_area
from pithline.wood.fit_errors import ErrorShapes, error_shapes, even_shapes, pith_parts
from pithline.yard.log_history import UNTOLD_MONTHS, months_since

Array = NDArray[np.float64]

BLEND = (8.0, 12.0)
"""A doubt changes over about 100 mm along the log (stations) and 12° round it (degrees): a step in it would draw a log with an
edge, whose rings no plate passes."""
ROUND = 0.97
"""A girth seen over more than this is seen all round."""
FLANK = 0.62
"""Less of the girth than this seen: one flank."""


@dataclass(frozen=True, slots=True)
class LogKnowledge:
    """One log before it is bought. Doubts are standard deviations, on the k stations of `log.field`.

    Attributes
    ----------
    basis : str
        "scan", "one flank" or "tape".
    seen, hidden : (k, 361) arrays
        Doubt of the over-bark surface, split by whether that part was seen. [mm]
    dark : (k, 361) array
        How much of the bark there was not seen, 0 to 1; nothing of a log by tape is told so.
    shape_spread : float
        Standard deviation of the logarithm of each harmonic's size from log to log, by tape; 0 for a scan.
    shapes : ErrorShapes
        What errors of the surface are made of.
    hung : (k,) array
        How much of the bow of such an error the pith takes along, 0 to 1; by tape the bow is drawn by itself.
    bark : (k,) array
        Doubt of the bark, all along one way. [mm]
    pith : (k,) array
        Doubt of the pith by its marks, each way; what hangs on the surface is not in it. [mm]
    bow : float
        Doubt of the bow of pith and bark together, largest at mid-length, each way. [mm]
    spiral : (mean, sd) or None
        Where the card states no spiral. [rad]
    """

    card: Card
    read: Mapping[str, Any]
    log: PlanLog
    basis: str
    seen: Array
    hidden: Array
    dark: Array
    shapes: ErrorShapes
    hung: Array
    shape_spread: float
    bark: Array
    pith: Array
    drift: float
    wander: float
    bow: float
    spiral: tuple[float, float] | None
    bark_known: bool
    pith_marks: int
    yard_tree: bool
    stained: bool
    coated: bool
    months: float
    months_told: bool
    bark_area: float  # m²

    def metal_share(self, priors: Priors) -> float:
        """The chance that the log holds metal, by where it grew and whether its ends are stained."""
        return priors.metal.of(self.yard_tree, self.stained)

    @property
    def model(self) -> LogModel:
        """The log as it is most likely."""
        return self.log.model


@dataclass(frozen=True, slots=True)
class TapedDoubts:
    """What tape measures leave open: a doubt of the bow [mm], and how that of the section is shared among clock harmonics, (h,)."""

    bow: float
    weights: Array


DRIFT = 0.6
"""How far a pith marked at one end or none errs differently at the ends, beside what it errs alike; invented."""


def gather_knowledge(
    model: LogModel,
    card: Card,
    read: Mapping[str, Any],
    priors: Priors,
    today: date,
    taped: TapedDoubts | None = None,
) -> LogKnowledge:
    """Gather what is known of a fitted log, or of one drawn up from tape measures.

    Parameters
    ----------
    model : LogModel
        The log as it is most likely.
    card, read : Card, mapping
        The card, and its tables as read.
    priors : Priors
        What is likely of any log.
    today : date
        From which months since felling are counted.
    taped : TapedDoubts, optional
        What tape measures leave open; None for a scan.
    """
    bow = 0.0 if taped is None else taped.bow
    log = plan_log(model, card.pith_radius, card.trim_butt, card.trim_top, card.defects)
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    size = np.sqrt((field.radius[:, :-1] ** 2).mean(axis=1))
    ratio = species_of(card.species).bark_ratio
    own = BARK_VARIES * card.bark_thickness if card.bark_thickness is not None else None
    planned = np.full(len(x), own) if own is not None else species_of(card.species).bark_ratio_error * size / ratio
    surface = np.sqrt(np.maximum(field.doubt**2 - planned[:, None] ** 2, 0.0))
    if card.bark_thickness is not None:
        bark = np.full(len(x), priors.bark_gauged * card.bark_thickness)
    else:
        bark = priors.bark_ratio * size / ratio
    tape = card.scan is None
    blind = np.full(len(x), 0.0) if tape else np.interp(x, model.x, model.coverage)
    # the part of the girth that was not seen is where the fit doubts its surface most
    unseen = np.zeros(surface.shape, bool)
    for row, share in enumerate(blind):
        unseen[row] = surface[row] > np.quantile(surface[row], np.clip(share, 0.0, 1.0))
    if taped is None:
        surface = _blended(surface)
    shapes = error_shapes(field, priors.scan_error) if taped is None else even_shapes(field, taped.weights)
    whole = coverage(model)
    basis = "tape" if tape else "one flank" if whole < FLANK else "scan"
    if whole > ROUND or tape:
        unseen[:] = False
    dark = _blended(unseen.astype(float))
    marks = sum(mark is not None for mark in (card.pith_butt, card.pith_top))
    t = np.clip(2.0 * x / model.length - 1.0, -1.0, 1.0)
    if taped is None:
        parts = pith_parts(shapes, surface, np.asarray(field.pith_doubt, float))
        hung, pith = parts.bow, np.linalg.norm(parts.line, axis=1)
    else:
        hung = np.zeros(len(x))
        pith = np.sqrt(np.maximum(np.asarray(field.pith_doubt, float) ** 2 - (bow * (1.0 - t**2)) ** 2, 0.0))
    if marks == 0 and not tape:
        pith = priors.pith_unmarked * size
    stated = read.get("grain", {}).get("spiral_deg") is not None
    months = months_since(card.felled, today)
    girth = float(np.pi * 2.0 * size.mean() / ratio)
    return LogKnowledge(
        card=card,
        read=read,
        log=log,
        basis=basis,
        seen=surface * np.sqrt(1.0 - dark),
        hidden=surface * np.sqrt(dark),
        dark=dark,
        shapes=shapes,
        hung=hung,
        shape_spread=priors.section_spread if tape else 0.0,
        bark=bark,
        pith=pith,
        drift=DRIFT,
        wander=priors.pith_wander,
        bow=bow,
        spiral=None if stated or (priors.spiral_sd == 0.0 and priors.spiral_mean == 0.0) else _spiral(priors),
        bark_known=card.bark_thickness is not None,
        pith_marks=marks,
        yard_tree=read["log"].get("grown", "forest") != "forest",
        stained=bool(read.get("ends", {}).get("stain", False)),
        coated=bool(read.get("ends", {}).get("coated", False)),
        months=UNTOLD_MONTHS if months is None else months,
        months_told=months is not None,
        bark_area=girth * model.length * 1e-6,
    )


def _blended(rows: Array) -> Array:
    """(k, 361) rows made smooth along and round the log; constant rows stay as they are."""
    smooth = gaussian_filter(rows[:, :-1], BLEND, mode=("nearest", "wrap"))
    blended: Array = np.clip(np.column_stack([smooth, smooth[:, 0]]), rows.min(), rows.max())
    return blended


def _spiral(priors: Priors) -> tuple[float, float]:
    return priors.spiral_mean, priors.spiral_sd


def cubic_volume(model: LogModel) -> dict[str, float]:
    """Volumes over and under bark by integration, and by Smalian's rule on the under-bark ends. [mm³]"""
    from pithline.logmodel.dimensions import diameters
    from pithline.trade.volumes import smalian

    ends = diameters(model, np.array([0.0, model.length]), under_bark=True)
    areas = [circle_area(float(d)) for d in ends]
    return {
        "over_bark": volume(model, under_bark=False),
        "under_bark": volume(model),
        "smalian": smalian(min(areas), max(areas), model.length),
    }
