"""What it is worth to find out more: answers drawn, the log planned anew on each, and what that gains in money.

With an answer the sawyer may saw by another layout, or leave the log. The action is picked on one half of the logs drawn for
an answer and valued on the other, and the other way round, so that picking the luckiest of several is not taken for
knowledge.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pithline.files.priors import Priors
from pithline.yard.appraisal.answers import MARK_LEAVES, SCAN_LEAVES, gauged_leaves, log_with_answer, mixed
from pithline.yard.appraisal.drawn_logs import DrawBasis, draw_component, draw_log, log_as_drawn
from pithline.yard.appraisal.layouts import AppraisalShop, AppraisedPlan, laid_again, planned_anew
from pithline.yard.appraisal.log_knowledge import LogKnowledge
from pithline.yard.appraisal.regrade import Outcome, Planned, brings, planned

Array = NDArray[np.float64]
FIRST_ANSWER = 100_000
"""Answers and the logs drawn for them have numbers of their own, apart from the samples."""


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """Something that could be found out: which components an answer settles, and what share of each doubt it leaves."""

    what: str
    settles: Mapping[str, float]
    chance: float = 1.0  # that there is anything to find; answers are drawn given that there is
    metal: bool = False  # whether it looks for metal
    search: bool = False  # whether so much is learnt that the log is searched anew, not only laid out anew


@dataclass(frozen=True, slots=True)
class InformationWorth:
    """The gain expected from one question, and its sampling error, in money; a gain drawn below 0 is drawn luck."""

    what: str
    worth: float
    error: float


def questions(known: LogKnowledge, priors: Priors) -> list[OpenQuestion]:
    """What can be asked of this log."""
    out = []
    if known.basis != "tape" and known.hidden.max(initial=0.0) > 0.5:
        out.append(OpenQuestion("scanning the hidden side", {"hidden": SCAN_LEAVES}, search=known.basis == "one flank"))
    if known.basis != "tape" and not known.bark_known and known.bark.max() > 0.0:
        out.append(OpenQuestion("gauging the bark at both ends", {"bark": gauged_leaves(known, priors)}))
    if known.basis != "tape" and known.pith_marks < 2 and known.pith.max() > MARK_LEAVES:
        out.append(OpenQuestion("marking the pith on both ends", {"pith": MARK_LEAVES / float(known.pith.max())}))
    if known.spiral is not None and known.spiral[1] > 0.0:
        out.append(OpenQuestion("measuring the spiral of the grain", {"spiral": 0.0}))
    if priors.checks_per_end > 0.0 or priors.rot_share > 0.0:
        out.append(OpenQuestion("cleaning both ends", {"checks": 0.0, "rot": 0.0}))
    share = known.metal_share(priors)
    if share > 0.0:
        out.append(OpenQuestion("passing a metal detector over it", {"metal": 0.0}, share, metal=True))
    return out


def _answer(known: LogKnowledge, priors: Priors, question: OpenQuestion, seed: int, number: int) -> dict[str, Any]:
    """The components that an answer settles; of metal only answers that find some, for the gain counts by its chance."""
    if question.metal:
        priors = replace(priors, metal_forest=1.0, metal_yard=1.0)
    return {name: draw_component(known, priors, name, seed, number) for name in question.settles}


@dataclass(frozen=True, slots=True)
class InformationCase:
    """What every answer is weighed against: the log, the layout sawn on what is known now, and the money.

    Attributes
    ----------
    base, plates : AppraisedPlan, Planned
        The plan made on what is known now, and its plates.
    gains : callable
        (outcome, minutes, metal met) -> money, the price asked taken off; it must pickle, for processes share the answers.
    sawn_now : bool
        Whether, on what is known now, it pays to buy and saw the log.
    """

    known: LogKnowledge
    priors: Priors
    trade: AppraisalShop
    base: AppraisedPlan
    plates: Planned
    basis: DrawBasis
    gains: Callable[[Outcome, float, bool], float]
    sawn_now: bool
    seed: int


def answered(asking: InformationCase, question: OpenQuestion, at: int) -> float:
    """What one answer to a question gains; `at` numbers its draws."""
    known, priors, trade, base, basis = asking.known, asking.priors, asking.trade, asking.base, asking.basis
    answer = _answer(known, priors, question, asking.seed, at)
    log = log_with_answer(known, answer, question.settles, basis)
    anew = planned_anew(log, base, trade, asking.seed) if question.search else laid_again(log, base, trade)
    again = planned(anew.ledger, trade.parts)
    money = np.zeros((priors.sampling.inner, 3))
    for i in range(priors.sampling.inner):
        drawn = mixed(answer, draw_log(known, priors, asking.seed, at + 1 + i), question.settles)
        one = log_as_drawn(known, drawn, basis)
        metal = bool(drawn["metal"])
        unwarned = metal and not question.metal
        first = brings(one, asking.plates, trade.sold, drawn["figure"])
        second = brings(one, again, trade.sold, drawn["figure"])
        money[i] = (
            asking.gains(first, base.minutes, metal),
            asking.gains(first, base.minutes, unwarned),
            asking.gains(second, anew.minutes, unwarned),
        )
    return _gain(money, asking.sawn_now)


ShareWork = Callable[[Callable[..., Any], Any, Sequence[tuple[Any, ...]]], Iterable[Any]]
"""How a log's pieces of work are done: (work, what all are about, what each is about) -> their results in that order."""


def in_turn(work: Callable[..., Any], about: Any, each: Sequence[tuple[Any, ...]]) -> Iterable[Any]:
    """One piece of work after another, here."""
    return (work(about, *one) for one in each)


def worth_finding_out(
    asking: InformationCase, progress: Callable[[str, float], None], share: ShareWork = in_turn
) -> list[InformationWorth]:
    """Every question with what its answer is worth, most first; `share` changes who works it out, never the result."""
    asked = questions(asking.known, asking.priors)
    each = asking.priors.sampling.answers
    numbered = [
        (question, FIRST_ANSWER + 1000 * (number + 1) + 100 * j)
        for number, question in enumerate(asked)
        for j in range(each)
    ]
    coming = iter(share(answered, asking, numbered))
    gains: list[float] = []
    for question, _ in numbered:
        progress(f"what {question.what} is worth", len(gains) / len(numbered))
        gains.append(next(coming))
    out = []
    for number, question in enumerate(asked):
        gain = np.array(gains[each * number : each * (number + 1)]) * question.chance
        out.append(InformationWorth(question.what, float(gain.mean()), float(gain.std(ddof=1) / np.sqrt(each))))
    return sorted(out, key=lambda one: -one.worth)


def _gain(money: Array, sawn_now: bool) -> float:
    """What the best action with the answer gains over the one without; columns: as now, as now but told, planned anew."""
    halves = (slice(0, None, 2), slice(1, None, 2))
    gains = []
    for pick, judge in (halves, halves[::-1]):
        means = money[pick].mean(axis=0)
        best = int(np.argmax(means[1:])) + 1
        with_answer = float(money[judge, best].mean()) if means[best] > 0.0 else 0.0
        without = float(money[judge, 0].mean()) if sawn_now else 0.0
        gains.append(with_answer - without)
    return float(np.mean(gains))
