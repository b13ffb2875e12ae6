"""What more plans of a log could add to a season at the master's prices: a bound, from what is proven of the log already.

Every search of a log proved that no plan of its class and grid has Σ_i w_i n_i − c m above P: n_i plates of part i, each counted
w_i, m minutes. At λ_k a set and γ a minute a plan earns at most Σ_k λ_k sets_k − γ m, and with λ_k shared among the parts of its set
in any way (Σ_i count_i v_i = λ_k) that is at most Σ_i v_i n_i − γ m. So every μ ≥ 0 with v ≤ Σ_v μ_v w_v and Σ_v μ_v c_v ≤ γ bounds it:

    bound = min Σ_v μ_v P_v + Σ_k D_k ν_k,   ν_k ≥ λ_k − Σ_(i of k) count_i v_i,   ν ≥ 0

D_k: sets of k that are ordered at all. A linear programme of a few unknowns, dual to the best mix of plates that the searches
allow. Prices depend on the period a log is sawn in; the bound is that of the best period.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linprog

from pithline.yard.season.model import Prices, SeasonTerms, YardLog, counted_gain

MANY = 1e9
"""Sets, where no order limits them."""


@dataclass(frozen=True, slots=True)
class ProvenBound:
    """What no plan of the class and grid exceeds: Σ worth · plates − minute · minutes ≤ most, in money."""

    worth: tuple[float, ...]
    minute: float
    most: float


@dataclass(frozen=True, slots=True)
class ProvenLog:
    """All that is proven of one log. `parts` are (product, count in a set)."""

    parts: tuple[tuple[str, int], ...]
    views: tuple[ProvenBound, ...]


def most_earned(
    proven: ProvenLog, sets: Mapping[str, float], minute: float, ordered: Mapping[str, int] | None = None
) -> float:
    """No plan of the class earns more at these prices of a set and a minute, of sets up to those `ordered`.

    Infinite where no view counts a product wanted.
    """
    names = [name for name in dict.fromkeys(product for product, _ in proven.parts) if sets.get(name, 0.0) > 0.0]
    if not names:
        return 0.0
    views, parts, wanted = len(proven.views), len(proven.parts), len(names)
    worth = np.array([view.worth for view in proven.views])
    # unknowns: μ (views), v (parts), ν (products wanted)
    most = [float(view.most) for view in proven.views]
    caps = [MANY if ordered is None else float(ordered.get(name, 0)) for name in names]
    goal = np.concatenate([most, np.zeros(parts), caps])
    under = np.zeros((parts + 1, len(goal)))
    under[:parts, :views], under[:parts, views : views + parts] = -worth.T, np.eye(parts)
    under[parts, :views] = [view.minute for view in proven.views]
    limit = np.concatenate([np.zeros(parts), [minute]])
    shares = np.zeros((wanted, len(goal)))
    for i, (product, count) in enumerate(proven.parts):
        if product in names:
            shares[names.index(product), views + i] = count
    shares[:, views + parts :] = np.eye(wanted)
    done = linprog(goal, under, limit, shares, [sets[name] for name in names], method="highs")
    return float(done.fun) if done.status == 0 and (ordered is not None or done.fun < MANY) else np.inf


def most_a_plan_adds(
    log: YardLog, proven: ProvenLog | None, prices: Prices, terms: SeasonTerms, ordered: Mapping[str, int]
) -> float:
    """What one more plan of the log adds at most to the relaxation's value, in whichever period it were sawn, 1/100.

    0 where the log is not known (it failed).

    Parameters
    ----------
    log : YardLog
        With its cost. [1/100]
    proven : ProvenLog, optional
        What its searches proved.
    prices : Prices
        The master's, of sets, minutes and logs, by period. [1/100]
    terms : SeasonTerms
        Overhead, rates and hours. [1/100]
    ordered : mapping of str to int
        Sets of each product that are ordered at all.
    """
    if proven is None or not proven.views:
        return 0.0
    own = log.cost + terms.overhead - counted_gain(log, terms) + max(prices.logs.get(log.id, 0.0), 0.0)
    added = 0.0
    for sets, minute in prices.periods or ((prices.sets, prices.minute),):
        money = {name: worth / 100.0 for name, worth in sets.items()}
        earned = 100.0 * most_earned(proven, money, (terms.hour_rate / 60.0 + minute) / 100.0, ordered)
        added = max(added, earned - own)
    return added


def proven_log(found: Sequence[Mapping[str, Any]]) -> ProvenLog | None:
    """What the answers to a log's jobs prove together."""
    if not found:
        return None
    views = tuple(ProvenBound(tuple(f["worth"]), f["minute"], f["most"]) for one in found for f in one["facts"])
    parts = tuple((str(name), int(count)) for name, count in found[0]["parts"])
    return ProvenLog(parts, views)
