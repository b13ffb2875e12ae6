"""What a master is asked, and which of its columns matter: ways to saw logs, and fills of slabs, near the best at given prices."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from pithline.plan.columns.market_model import fills_at
from pithline.plan.pricing.fills import Fill, Fillable, fill_all
from pithline.plan.pricing.log_oracle import Slab, Way
from pithline.plan.pricing.price_search import worth_at
from pithline.plan.problem.economics import CutCosts
from pithline.plan.problem.market import Market

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Named = TypeVar("Named", contravariant=True)


NEAR = 0.03
"""The prices bound every plan: one that holds a column worth so much less than the best at these prices has no more than the bound
less that. So where the master's answer lies nearer to the bound than this, nothing was lost."""


class SlabFills(Protocol[Named]):
    """The slabs of some logs, by what they are known by."""

    def slab(self, log: int, slab: Named) -> Fillable:
        """One slab of the log with this number."""
        ...


@dataclass(frozen=True, slots=True)
class NoSlabs:
    """None are known: they were filled already."""

    def slab(self, log: int, slab: object) -> Fillable:
        """There is none."""
        raise KeyError(log, slab)


@dataclass(frozen=True, slots=True)
class MasterTask(Generic[Slab]):
    """What a master is asked.

    ways : by log, ways to saw it; one may be left
    near : columns that cost a plan more than this share of the best at the best prices are left out
    least : columns that no plan worth more than this can hold are left out too
    opening : what the first run of a cradle is charged more than each further one
    family : prices (Q,) at which slabs are filled
    """

    market: Market
    fills: SlabFills[Slab]
    ways: tuple[tuple[Way[Slab], ...], ...]
    opening: float
    family: Sequence[Array]
    costs: CutCosts
    settings_max: int | None = None  # most charged settings
    near: float = NEAR
    least: float = -np.inf
    sawn: Counts | None = None  # (P, 2) mated and single plates that count beside those of the ways
    standing: frozenset[int] = frozenset()  # cradles that are opened already, roll steps


def merged(ways: Sequence[Way[Slab]]) -> tuple[Way[Slab], ...]:
    """Ways of one piece, those with the same own setting made one that has the alternatives of both."""
    found: dict[tuple[object, ...], Way[Slab]] = {}
    for way in ways:
        key = (way.own.setting.clock, way.own.setting.slabs, way.own.slabs)
        other = found.get(key)
        found[key] = way if other is None else replace(
            other, above=merged((*other.above, *way.above)), below=merged((*other.below, *way.below))
        )  # fmt: skip
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class Columns(Generic[Slab]):
    """Ways by log, best first at the best prices, and the fills of their slabs by log and slab, that at the best prices first.

    `fill_worths` are what each fill is worth at the best prices, `worths` what each way may bring at most, `unsold` what is sold besides;
    `bound` is what no plan is worth more than at the best prices.
    """

    ways: tuple[tuple[Way[Slab], ...], ...]
    fills: Mapping[tuple[int, object], list[Fill]]
    fill_worths: Mapping[tuple[int, object], list[float]]
    worths: tuple[tuple[float, ...], ...]
    unsold: float
    bound: float

    def combinations(self) -> Iterator[tuple[float, tuple[tuple[Way[Slab], ...], ...]]]:
        """One way of each log that has any, and what no plan of these is worth more than, in the order of that, the most first."""
        if not any(self.ways):
            return

        def most(numbers: tuple[int, ...]) -> float:
            return self.unsold + sum(own[i] for own, i in zip(self.worths, numbers, strict=True) if own)

        first = (0,) * len(self.ways)
        waiting, met = [(-most(first), first)], {first}
        while waiting:
            less, numbers = heapq.heappop(waiting)
            yield -less, tuple(ways[i : i + 1] for ways, i in zip(self.ways, numbers, strict=True))
            for k, ways in enumerate(self.ways):
                after = (*numbers[:k], numbers[k] + 1, *numbers[k + 1 :])
                if after[k] < len(ways) and after not in met:
                    met.add(after)
                    heapq.heappush(waiting, (-most(after), after))

    def narrowed(self, ways: tuple[tuple[Way[Slab], ...], ...], spare: float) -> Columns[Slab]:
        """Some of the ways with nothing that a plan cannot hold which loses no more than `spare` against the best of these."""
        own = _Worths({key: max(values, default=0.0) for key, values in self.fill_worths.items()})
        near, room = own.near(ways, spare)
        kept = {
            key: [k for k, worth in enumerate(self.fill_worths[key]) if own.best[key] - worth <= left]
            for key, left in room.items()
        }
        return replace(
            self,
            ways=near,
            fills={key: [self.fills[key][k] for k in some] for key, some in kept.items()},
            fill_worths={key: [self.fill_worths[key][k] for k in some] for key, some in kept.items()},
            worths=own.of(near),
        )


@dataclass(frozen=True, slots=True)
class _Worths:
    """What ways are worth at the best prices, by what the slabs of each log are worth there, charges of a slab's cuts off."""

    best: Mapping[tuple[int, object], float]

    def way(self, number: int, way: Way[Slab]) -> float:
        """One way of a log, with the best of what may follow."""
        sides = (max((self.way(number, one) for one in side), default=0.0) for side in (way.above, way.below))
        own = sum(max(self.best[number, slab], 0.0) for slab in way.own.slabs) - way.own.charge
        return float(own + sum(max(one, 0.0) for one in sides))

    def of(self, ways: Sequence[Sequence[Way[Slab]]]) -> tuple[tuple[float, ...], ...]:
        """Ways of each log."""
        return tuple(tuple(self.way(n, way) for way in own) for n, own in enumerate(ways))

    def near(
        self, ways: Sequence[Sequence[Way[Slab]]], spare: float
    ) -> tuple[tuple[tuple[Way[Slab], ...], ...], dict[tuple[int, object], float]]:
        """Ways of each log that lose no more than `spare`, and what a plan by the best way that has a slab may still lose."""
        room: dict[tuple[int, object], float] = {}

        def near_ones(number: int, ways: Sequence[Way[Slab]], spare: float, least: float) -> tuple[Way[Slab], ...]:
            """Those of some alternatives that lose no more than `spare` against the best of them, or against `least`."""
            ranked = sorted(((self.way(number, way), -i) for i, way in enumerate(ways)), reverse=True)
            top = max((ranked[0][0], least)) if ranked else least
            out = []
            for own, i in ranked:
                left, way = spare - (top - own), ways[-i]
                if left < 0.0:
                    continue
                for slab in way.own.slabs:
                    room[number, slab] = max(room.get((number, slab), 0.0), left)
                above, below = (near_ones(number, side, left, 0.0) for side in (way.above, way.below))
                out.append(replace(way, above=above, below=below))
            return tuple(out)

        return tuple(near_ones(n, own, spare, -np.inf) for n, own in enumerate(ways)), room


def near_columns(task: MasterTask[Slab]) -> Columns[Slab]:
    """The columns without those that are too far from the best at the best prices."""
    merged_ways = tuple(merged(ways) for ways in task.ways)
    every = _slabs_of(task, merged_ways)
    worth = worth_at(task.market, task.family[0], task.costs)
    own = _Worths({key: value for key, (value, _) in zip(every, fill_all(every.values(), worth), strict=True)})
    unsold = task.market.unsold_bound(task.family[0])
    if task.sawn is not None:
        unsold += float(task.sawn[:, 0] @ worth.mated + task.sawn[:, 1] @ worth.single)

    total = max(unsold + sum(max(each, default=0.0) for each in own.of(merged_ways)), 0.0)
    spare = min(task.near * total if np.isfinite(task.near) else np.inf, total - task.least)
    ways, room = own.near(merged_ways, spare)
    slabs = {key: every[key] for key in room}
    found = fills_at(list(slabs.values()), task.market, task.family, task.costs)
    fills: dict[tuple[int, object], list[Fill]] = {}
    fill_worths: dict[tuple[int, object], list[float]] = {}
    for key, some in zip(slabs, found, strict=True):
        values = [float(one.counts[:, 0] @ worth.mated + one.counts[:, 1] @ worth.single) - one.cost for one in some]
        near = [k for k, value in enumerate(values) if own.best[key] - value <= room[key]]
        fills[key], fill_worths[key] = [some[k] for k in near], [values[k] for k in near]
    return Columns(ways, fills, fill_worths, own.of(ways), unsold, total)


def _slabs_of(task: MasterTask[Slab], ways: Sequence[Sequence[Way[Slab]]]) -> dict[tuple[int, object], Fillable]:
    """Every slab of every way, by log and slab."""
    out: dict[tuple[int, object], Fillable] = {}

    def gather(number: int, way: Way[Slab]) -> None:
        for slab in way.own.slabs:
            out[number, slab] = task.fills.slab(number, slab)
        for one in (*way.above, *way.below):
            gather(number, one)

    for number, own in enumerate(ways):
        for way in own:
            gather(number, way)
    return out
