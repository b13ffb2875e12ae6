"""Logs drawn from what is not known: each component by its own stream of chance, so that one can be held and the rest drawn.

A draw never looks at another component; the same seed, log and component give the same draw. What is normal, whether there is
something rare and how many there are of what is counted are drawn by Latin hypercubes (McKay, Beckman and Conover, Technometrics 21
(1979) 239): of N draws one falls in each N-th of the distribution, so that the few drawn are as wide as they should be, and hold as
many knots as the prior says. 64 independent draws may be a tenth too narrow or hold a quarter too few knots, and do so for every log
alike.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, pdtrik

from pithline.files.priors import Priors
from pithline.logmodel.card import Defect, DefectKind
from pithline.logmodel.model import clock_direction
from pithline.plan.api import PlanLog
from pithline.wood.field import reshaped, tables
from pithline.wood.kernels import CLOCKS
from pithline.yard.appraisal.log_knowledge import LogKnowledge

Array = NDArray[np.float64]
World = Mapping[str, Any]

COMPONENTS = ("seen", "hidden", "bark", "pith", "wander", "bow", "spiral", "knots", "metal", "checks", "rot", "figure")
"""What is drawn. Of a scanned log "hidden" is the surface on the side that was not scanned; "figure" is what it makes of prices."""
DEFECT_MARGIN = 3.0
"""Kept clear round a hidden defect when it is found. [mm]"""


SURFACES = ("seen", "hidden")
SIZES = {"bark": (2,), "pith": (2, 2), "wander": (2, 2), "bow": (2,), "spiral": ()}
"""Components that are coefficients of unit normals, and how many; of a surface as many as its shapes have."""


def _shares(shape: tuple[int, ...], key: tuple[int, ...], number: int, many: int) -> Array:
    """One of `many` draws of independent numbers from 0 to 1 that share their strata out among them."""
    block, place = divmod(number, many)
    rng = np.random.default_rng([*key, block])
    strata = rng.permuted(np.broadcast_to(np.arange(many), (int(np.prod(shape)), many)), axis=1)
    within = rng.uniform(size=strata.shape)
    drawn: Array = ((strata[:, place] + within[:, place]) / many).reshape(shape)
    return drawn


def _count(share: float, mean: float) -> int:
    """The Poisson count of that mean which lies at `share`, 0 to 1, of its distribution."""
    return 0 if share <= math.exp(-mean) else math.ceil(float(pdtrik(share, mean)))


def draw_component(known: LogKnowledge, priors: Priors, name: str, seed: int, number: int) -> Any:
    """One draw of one component: coefficients of unit normals, a tuple of defects, or a factor of prices.

    Parameters
    ----------
    known : LogKnowledge
        What is known of the log.
    priors : Priors
        Spreads of what is not.
    name : str
        Of the component: sizes, surfaces, spiral, knots, metal, checks, rot or prices.
    seed : int
        Of the appraisal.
    number : int
        Of the draw; the same seed, number and name give the same draw.
    """
    own = zlib.crc32(name.encode())
    rng = np.random.default_rng([seed, number, own])
    length = known.model.length

    def shares(shape: tuple[int, ...]) -> Array:
        return _shares(shape, (seed, own), number, priors.sampling.samples)

    if name in SIZES or name in SURFACES:
        out: Array = ndtri(shares(SIZES.get(name, known.shapes.size)))
        if name == "spiral":
            return 0.0 if known.spiral is None else float(known.spiral[0] + known.spiral[1] * out)
        if name in SURFACES and known.shape_spread > 0.0:
            # a log is oval or fluted or neither; the mean square stays that of the prior
            size = np.exp(rng.normal(-(known.shape_spread**2), known.shape_spread, len(out)))
            out = out * size[:, None, None]
        return out
    if name == "knots":
        return _knots(known, priors, shares((len(known.model.suspected_knots) + 2,)), rng)
    if name == "metal":
        if shares((1,))[0] >= known.metal_share(priors):
            return ()
        place = float(rng.uniform(0.0, length)), float(rng.uniform(0.0, 2 * np.pi))
        return (Defect(DefectKind.METAL, place[0], None, place[1], priors.metal_diameter, margin=DEFECT_MARGIN),)
    if name == "checks":
        return _checks(known, priors, shares((2,)), rng)
    if name == "rot":
        if shares((1,))[0] >= priors.rot_share:
            return ()
        size = np.exp(rng.normal(0.0, priors.rot_spread, 2))
        return (Defect(DefectKind.ROT, None, "butt", None, priors.rot_diameter * size[0], priors.rot_length * size[1]),)
    if name == "figure":
        return _figure(priors, float(shares((1,))[0]), rng)
    raise ValueError(f"no such component: {name}")


def _figure(priors: Priors, share: float, rng: np.random.Generator) -> float:
    """What figure that nobody has seen makes of the price of all that is sold of the log; 1 for a plain one."""
    if share >= priors.figure_share:
        return 1.0
    more = (priors.figure_factor - 1.0) * float(np.exp(rng.normal(0.0, priors.figure_spread)))
    return 1.0 + more * priors.figure_reach


def _knots(known: LogKnowledge, priors: Priors, shares: Array, rng: np.random.Generator) -> tuple[Defect, ...]:
    """Suspected knots that are real, hidden ones by their rate, and on the side not seen as many stubs as on the other.

    `shares` are of the suspected ones, one each, of the number of hidden ones and of that of stubs.
    """
    suspected = known.model.suspected_knots
    out = [
        Defect(DefectKind.KNOT, float(one.x), None, float(one.clock), float(one.diameter), margin=DEFECT_MARGIN)
        for one, share in zip(suspected, shares[:-2], strict=True)
        if share < priors.suspected_real
    ]
    for _ in range(_count(shares[-2], priors.knots_per_m2 * known.bark_area)):
        x, clock = float(rng.uniform(0, known.model.length)), float(rng.uniform(0, 2 * np.pi))
        size = priors.knot_diameter * float(np.exp(rng.normal(0.0, priors.knot_spread)))
        out.append(Defect(DefectKind.KNOT, x, None, clock, size, margin=DEFECT_MARGIN))
    dark = known.dark[:, :-1]
    unseen = float(dark.mean())
    if suspected and 0.0 < unseen < 1.0:
        for _ in range(_count(shares[-1], len(suspected) * priors.suspected_real * unseen / (1.0 - unseen))):
            one = suspected[int(rng.integers(len(suspected)))]
            station, column = divmod(int(rng.choice(dark.size, p=dark.ravel() / dark.sum())), dark.shape[1])
            x, clock = known.log.field.x0 + station * known.log.field.dx, column * (2 * np.pi / dark.shape[1])
            out.append(Defect(DefectKind.KNOT, float(x), None, float(clock), float(one.diameter), margin=DEFECT_MARGIN))
    return tuple(out)


def _checks(known: LogKnowledge, priors: Priors, shares: Array, rng: np.random.Generator) -> tuple[Defect, ...]:
    median = priors.end_checks.length(known.months, known.coated)
    out = []
    for end, share in zip(("butt", "top"), shares, strict=True):
        for _ in range(_count(share, priors.checks_per_end)):
            size = median * float(np.exp(rng.normal(0.0, priors.check_spread)))
            clock = float(rng.uniform(0, 2 * np.pi))
            if size > 0.0:
                out.append(Defect(DefectKind.CHECK, None, end, clock, None, size, None, 0.0))
    return tuple(out)


def draw_log(known: LogKnowledge, priors: Priors, seed: int, number: int) -> dict[str, Any]:
    """One whole log drawn: every component."""
    return {name: draw_component(known, priors, name, seed, number) for name in COMPONENTS}


def most_likely_draw(known: LogKnowledge) -> dict[str, Any]:
    """The log as it is most likely, nothing hidden in it: every component at its mean."""
    return {
        "seen": np.zeros(known.shapes.size),
        "hidden": np.zeros(known.shapes.size),
        "bark": np.zeros(2),
        "pith": np.zeros((2, 2)),
        "wander": np.zeros((2, 2)),
        "bow": np.zeros(2),
        "spiral": 0.0 if known.spiral is None else known.spiral[0],
        "knots": (),
        "metal": (),
        "checks": (),
        "rot": (),
        "figure": 1.0,
    }


@dataclass(frozen=True, slots=True)
class DrawBasis:
    """Shapes that draws are laid on, made once for a log."""

    t: Array  # (k,) from -1 at the butt to 1 at the top
    e: Array  # (361, 2)
    x: Array


def draw_basis(known: LogKnowledge) -> DrawBasis:
    """The basis of a log's stations."""
    field = known.log.field
    x: Array = field.x0 + np.arange(len(field.pith), dtype=np.float64) * field.dx
    clock = np.arange(CLOCKS + 1, dtype=np.float64) * (2 * np.pi / CLOCKS)
    t = 2.0 * x / known.model.length - 1.0
    return DrawBasis(np.clip(t, -1.0, 1.0), clock_direction(clock), x)


def _surface(coefficients: Array, known: LogKnowledge, basis: DrawBasis) -> Array:
    """A surface error of unit size: smooth round the girth and along. (k, 361)"""
    if known.basis != "tape":
        return known.shapes.surface(coefficients)
    # at both tapes the size is known: it can differ between them only
    error = known.shapes.surface(np.concatenate([np.zeros((1, *coefficients.shape[1:])), coefficients[1:]]))
    error += (1.0 - basis.t**2)[:, None] * (coefficients[0, 0, 0] * known.shapes.lobes[0])
    return error


def _between(marks: Array, known: LogKnowledge, t: Array) -> Array:
    """A pith error of unit size along the log, (k, 2)."""
    if known.pith_marks == 2:  # each mark errs by itself, and between them the pith lies on their line
        ends = np.stack([1.0 - t, 1.0 + t], axis=1)
        pith: Array = ends / np.linalg.norm(ends, axis=1, keepdims=True) @ marks
    else:
        pith = (marks[0] + known.drift * t[:, None] * marks[1]) / math.sqrt(1.0 + known.drift**2 / 3.0)
    return pith


def log_as_drawn(known: LogKnowledge, world: World, basis: DrawBasis) -> PlanLog:
    """The log that a draw makes of what is known, as it would be graded."""
    log, field = known.log, known.log.field
    t = basis.t
    change = np.zeros_like(field.radius)
    if known.seen.any():
        change += _surface(world["seen"], known, basis) * known.seen
    if known.hidden.any():
        change += _surface(world["hidden"], known, basis) * known.hidden
    hung = known.hung[:, None] * known.shapes.bow(
        change
    )  # the pith keeps its offset from a centre that is not where it was fitted
    a, b = world["bark"]
    change += ((a + 0.3 * b * t) * known.bark)[:, None]
    marks = world["pith"]
    shift = _between(marks, known, t)
    shift = shift * known.pith[:, None]
    half = 0.5 * np.pi * (t + 1.0)
    ways = world["wander"]
    shift = shift + known.wander * (np.sin(half)[:, None] * ways[0] + np.sin(2 * half)[:, None] * ways[1] / 2)
    bow = known.bow * (1.0 - t**2)[:, None] * world["bow"]
    shift = shift + hung
    radius = np.maximum(field.radius + change - shift @ basis.e.T, 1.0)
    moved = reshaped(field, radius, field.pith + shift + bow)
    if known.spiral is not None:
        moved = replace(moved, spiral=world["spiral"])
    hidden = (*world["knots"], *world["metal"], *world["checks"], *world["rot"])
    return replace(log, field=moved, exact=tables(moved, 0.0, 0.0), defects=(*log.defects, *hidden))
