"""In which order set-ups follow one another, so that as few as possible are set up twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import cache

from pithline.plan.problem.operations import Tool

SetUp = tuple[Tool, float]
"""A saw and the angle of the cradle on it; 0 where a bolt lies flat on a face."""
FREE = 0.01
"""A run flat against the resaw's fence is no set-up of its own, but is changed to for nothing."""
MOST_STATES = 20_000
"""Of so many states that bolts may be in the order is proven least; beyond that set-ups are taken by how many bolts they serve."""


def set_up_order(paths: Iterable[tuple[SetUp, ...]]) -> tuple[SetUp, ...]:
    """The shortest order of set-ups in which every bolt finds those that it needs, one after the other.

    A shortest common supersequence of the bolts' own sequences, by dynamic programming over how far each has come; runs of one bolt in
    one set-up follow one another. Among orders alike, flat ones come first, then what serves most bolts. What is left of an
    order, once its first set-ups are done, is the order of what is left of the bolts.

    Parameters
    ----------
    paths : iterable of tuple of SetUp
        Of each bolt, the set-ups that it needs in turn.
    """
    counts = Counter(path for path in paths if path)
    bolts = tuple(counts)

    def advanced(state: tuple[int, ...], key: SetUp) -> tuple[int, ...]:
        out = []
        for path, done in zip(bolts, state, strict=True):
            while done < len(path) and path[done] == key:
                done += 1
            out.append(done)
        return tuple(out)

    def asked(state: tuple[int, ...]) -> list[SetUp]:
        serves: Counter[SetUp] = Counter()
        for path, done in zip(bolts, state, strict=True):
            if done < len(path):
                serves[path[done]] += counts[path]
        return sorted(serves, key=lambda key: (key[1] > 0.0, -serves[key], key[1], key[0]))

    @cache
    def least(state: tuple[int, ...]) -> float:
        if least.cache_info().currsize > MOST_STATES:
            raise OverflowError
        return min((cost(key) + least(advanced(state, key)) for key in asked(state)), default=0.0)

    def order(by_least: bool) -> tuple[SetUp, ...]:
        state, out = (0,) * len(bolts), []
        while keys := asked(state):
            if by_least:
                keys.sort(key=lambda key: cost(key) + least(advanced(state, key)))
            out.append(keys[0])
            state = advanced(state, keys[0])
        return tuple(out)

    try:
        return order(True)
    except OverflowError:
        return order(False)


def cost(key: SetUp) -> float:
    """What changing to a set-up counts."""
    return FREE if key == (Tool.RESAW, 0.0) else 1.0
