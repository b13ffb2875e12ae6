"""Search by prices: layouts at prices, prices from layouts, until neither changes much; the bound on the way."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pithline.plan.pricing.cutting_planes import Plane, affordable, least_of_planes, price_scale
from pithline.plan.pricing.fills import Fillable, fill_all
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.market import Market, SetsMade
from pithline.plan.programmes.slab_values import PlateWorth

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SeenLayout:
    """A layout as a price search sees it: slabs that can be filled at any prices, and its charges."""

    slabs: tuple[Fillable, ...]
    charge: float


@dataclass(frozen=True, slots=True)
class Sold:
    """What layouts are priced by: what plates bring, and what cuts cost; of plans that make so many sets alone, where that is said."""

    market: Market
    costs: CutCosts
    sets: SetsMade | None = None


NEAR, FAR = 0.15, 1.0
"""First steps of prices from a start that a search found, and from one that is a mere guess."""


@dataclass(frozen=True, slots=True)
class Until:
    """When a search by prices ends.

    Attributes
    ----------
    rounds : int
        Most looks.
    stop : callable
        Asked after each look.
    close : float
        It ends where no prices can lessen the bound by more than this share of it.
    box : float
        How far the first step of prices may go, in units of `price_scale`.
    hopeless : float
        It ends where the bound is less, for then the class is of no use.
    """

    rounds: int
    stop: Callable[[], bool]
    close: float = 0.01
    box: float = NEAR
    hopeless: float = -np.inf


def worth_at(market: Market, prices: Array, costs: CutCosts) -> PlateWorth:
    """What plates and cuts count at prices of the pools."""
    return PlateWorth(*market.plate_prices(prices), costs.billet, costs.strip, costs.slab)


def slope_of(market: Market, prices: Array, mated: Array, single: Array) -> Array:
    """How the value of a layout's plates (P,) grows with the prices of the pools, (Q,)."""
    lone_moves = ~market.mated | (prices @ market.holds < market.single)
    return market.holds @ (mated + np.where(lone_moves, single, 0))


def priced_layouts(
    market: Market, layouts: Sequence[SeenLayout], prices: Array, costs: CutCosts
) -> list[tuple[float, Array, Array]]:
    """Each layout's value at prices net of charges, and its mated and single plates by kind, (P,) each.

    Layouts seen at alike prices share slabs; each of these is filled once.
    """
    slabs = {id(slab): slab for layout in layouts for slab in layout.slabs}
    filled = dict(zip(slabs, fill_all(slabs.values(), worth_at(market, prices, costs)), strict=True))
    out = []
    for layout in layouts:
        own = [filled[id(slab)] for slab in layout.slabs]
        total = np.zeros((market.holds.shape[1], 2))
        for _, fill in own:
            total += fill.counts
        out.append((sum(value for value, _ in own) - layout.charge, total[:, 0], total[:, 1]))
    return out


MUCH_WIDER, WIDER, CLOSER, GOOD_STEP = 4.0, 1.8, 0.4, 0.5
"""The box grows much after a step that gained this share of what was foretold, less after one that gained less, and shrinks after one
that gained nothing."""
FAR_OFF = 0.03
"""Where prices may still lessen the bound by more than this share of it, looks go on, up to twice as many as were asked."""
INNER_ROUNDS = 60
WHOLE_STEPS = 4
"""Rounds in which prices go all the way to where the planes are least; from then on half way, from the best so far."""


def prices_for(
    sold: Sold,
    layouts: Sequence[SeenLayout],
    planes: list[Plane],
    centre: Array,
    box: float,
    tolerance: float = 0.003,
) -> tuple[float, Array]:
    """The least bound over given layouts alone, and its prices (Q,). Layouts are filled anew at each trial, which is quick.

    Parameters
    ----------
    sold : Sold
        What plates bring, and what cuts cost.
    layouts : sequence of SeenLayout
        The layouts; no other counts.
    planes : list of Plane
        Planes under the bound; those met on the way are added.
    centre : (Q,) array
        Prices to begin with.
    box : float
        The reach round the centre, in units of `price_scale`.
    tolerance : float
        It ends where the planes foretell no more than this share of the bound less.
    """
    market, costs = sold.market, sold.costs
    reach = box * price_scale(market)
    best, best_prices, here = np.inf, centre, centre
    for round_number in range(INNER_ROUNDS):
        top = 0.0
        for value, mated, single in priced_layouts(market, layouts, here, costs):
            planes.append(Plane(value, slope_of(market, here, mated, single), here))
            top = max(top, value)
        bound = top + market.unsold_bound(here, sold.sets)
        if bound < best:
            best, best_prices = bound, here
        least = least_of_planes(market, planes, centre, reach, sold.sets)
        if least is None or best - least[0] <= tolerance * abs(best):
            break
        here = least[1] if round_number < WHOLE_STEPS else 0.5 * (best_prices + least[1])
    return best, best_prices


@dataclass(frozen=True, slots=True)
class Priced:
    """What one look at prices gave: the bound there, and the layouts that are best there, the very best first."""

    prices: Array
    bound: float
    layouts: tuple[SeenLayout, ...]


def search_prices(
    sold: Sold,
    look: Callable[[Array], Priced],
    start: Array,
    until: Until,
    known: Sequence[SeenLayout] = (),
) -> list[Priced]:
    """Looks at better and better prices, in order; the least of their bounds is valid for every layout of the class.

    Parameters
    ----------
    sold : Sold
        What plates bring, and what cuts cost.
    look : callable
        The best layouts of the class at given prices (Q,), and what none of them can be worth more than, with what is unsold.
    start : (Q,) array
        Prices to begin with.
    until : Until
        When it ends.
    known : sequence of SeenLayout
        Layouts seen before, which tell where to begin.
    """
    seen = list(known)
    planes: list[Plane] = []
    out: list[Priced] = []
    prices = centre = affordable(sold.market, start)
    best = least = np.inf
    box = until.box
    for number in range(2 * until.rounds):
        found = look(affordable(sold.market, prices))
        out.append(found)
        if found.bound < until.hopeless:
            break
        seen += found.layouts
        if found.bound < best:
            box *= MUCH_WIDER if best - found.bound > GOOD_STEP * (best - least) else WIDER
            best, centre = found.bound, found.prices
        else:
            box *= CLOSER
        least, prices = prices_for(sold, seen, planes, centre, box)
        enough = until.close if number + 1 < until.rounds else FAR_OFF
        # at prices seen before another look would show the same: the rest is what the class's bound lies above its layouts
        seen_before = any(np.allclose(affordable(sold.market, prices), one.prices, rtol=1e-9) for one in out)
        if until.stop() or seen_before or best - least <= enough * abs(best):
            break
    return out
