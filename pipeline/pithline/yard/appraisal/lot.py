"""A whole lot: every log appraised by itself, ranked together, the best buy first."""

from __future__ import annotations

import multiprocessing
import traceback
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from pithline.errors import PithlineError
from pithline.files.priors import Priors
from pithline.outputs.reports.appraisal_pictures import Pictures, pictures_of
from pithline.yard.appraisal.appraise import Appraised, appraise
from pithline.yard.appraisal.information import ShareWork, in_turn
from pithline.yard.appraisal.terms import AppraisalTerms, Lot
from pithline.yard.aside import end_with_parent

Progress = Callable[[str, float], None]

COARSER = 4
"""From so many logs on, each is drawn less often; its plan is the same."""


@dataclass(frozen=True, slots=True)
class Done:
    """One log's row, and pictures of it where it could be drawn."""

    row: dict[str, Any]
    pictures: Pictures | None


def appraise_lot(
    lot: list[Lot], terms: AppraisalTerms, workers: int, progress: Progress
) -> tuple[dict[str, Any], list[Done]]:
    """Appraise every log; the document of design section 6, and the logs in its order with their pictures.

    `workers` processes share the logs, or of a single log what could be found out about it; their number changes nothing in
    the result.
    """
    if len(lot) >= COARSER:
        terms = replace(terms, priors=for_a_lot(terms.priors))
    if workers < 2:
        found = [one_log(one, terms, _of(lot, at, progress)) for at, one in enumerate(lot)]
    elif len(lot) == 1:
        with _pool(workers) as pool:
            for _ in range(workers):  # a process takes seconds to load: begun now, it is ready when answers are asked
                pool.submit(len, ())

            def share(work: Callable[..., Any], about: Any, each: Sequence[tuple[Any, ...]]) -> Iterable[Any]:
                return pool.map(partial(work, about), *zip(*each, strict=True))

            found = [one_log(lot[0], terms, _of(lot, 0, progress), share)]
    else:
        with _pool(min(workers, len(lot))) as pool:
            waiting = {pool.submit(one_log, one, terms): at for at, one in enumerate(lot)}
            try:
                for count, future in enumerate(as_completed(waiting)):
                    progress(f"{lot[waiting[future]].card.id} done", (count + 1) / len(lot))
            except BaseException:  # whoever watches wants an end: logs that were not begun are not
                pool.shutdown(wait=False, cancel_futures=True)
                raise
            found = [future.result() for future in waiting]
    done = ranked(found)
    return document(done, terms), done


def _of(lot: list[Lot], at: int, progress: Progress) -> Progress:
    """Progress of one log as progress of the lot."""
    return lambda what, part: progress(f"{lot[at].card.id}: {what}", (at + part) / len(lot))


def _pool(workers: int) -> ProcessPoolExecutor:
    """Processes that share the cores; spawned, for threads of numerical libraries do not survive a fork."""
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_own_cores, initargs=(workers,))


def _own_cores(workers: int) -> None:
    """Keep a process to its share of the cores: threads beyond them wait for each other."""
    import numba

    end_with_parent()
    numba.set_num_threads(max(1, numba.get_num_threads() // workers))


def for_a_lot(priors: Priors) -> Priors:
    """Three quarters of the samples and drawn plans, one answer fewer, two thirds of the logs drawn for each answer."""
    own = priors.sampling
    replans = max(own.replans * 3 // 4, 9)
    samples, answers, inner = max(own.samples * 3 // 4, 8), max(own.answers - 1, 2), max(own.inner * 2 // 3, 4)
    less = replace(own, samples=samples, replans=replans, answers=answers, inner=inner)
    return replace(priors, sampling=less)


def _silent(what: str, part: float) -> None:
    """Progress of a worker, which has nobody to tell."""


def one_log(one: Lot, terms: AppraisalTerms, progress: Progress = _silent, share: ShareWork = in_turn) -> Done:
    """One log's row; whatever fails is told in it and costs no other log."""
    try:
        got = appraise(one, terms, progress, share)
        return Done(got.row, pictures_of(got.known.model, got.known.basis, _boxes(got)))
    except PithlineError as error:
        return Done(failed(one, str(error)), None)
    except Exception as error:  # a defect of ours must not cost the other logs
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{last.name}, line {last.lineno}"
        return Done(failed(one, f"a defect in pithline: {type(error).__name__}: {error} ({place}); report it."), None)


def _boxes(got: Appraised) -> list[tuple[Any, Any]]:
    return [(plate.corner, plate.edges) for plate in got.plan.ledger.plates if plate.passes]


def failed(one: Lot, words: str) -> dict[str, Any]:
    """The row of a log that could not be appraised."""
    name = one.card.id
    reason = words.removeprefix(f"{name}: ")
    return {"id": name, "rank": None, "state": "failed", "why": reason, "asked": one.card.cost}


def ranked(done: list[Done]) -> list[Done]:
    """Best buy first: by what the highest bid leaves over the price asked.

    Logs with no price asked come after those that are worth theirs and before those that are not; among themselves by
    highest bid, and where bids are alike, as they are without prices, by volume. Failed ones last, in the order given.
    """

    def place(one: Done) -> tuple[int, float, float]:
        row = one.row
        if row["state"] == "failed":
            return 3, 0.0, 0.0
        plates = -row["volume"]["mean"]
        if row["asked"] is None:
            return 1, -row["highest_bid"], plates
        over = row["highest_bid"] - row["asked"]
        return (0 if over >= 0.0 else 2), -over, plates

    order = sorted(done, key=place)
    return [
        replace(one, row={**one.row, "rank": None if one.row["state"] == "failed" else rank})
        for rank, one in enumerate(order, 1)
    ]


def document(done: list[Done], terms: AppraisalTerms) -> dict[str, Any]:
    """The appraisal as a document; the same inputs, seed and day give the same bytes."""
    sampling = terms.priors.sampling
    return {
        "format": "pithline-appraisal",
        "version": 1,
        "currency": terms.priors.money.currency,
        "samples": sampling.samples,
        "seed": terms.seed,
        "on": terms.today.isoformat(),
        "bid_margin": terms.margin,
        "answers": sampling.answers,
        "inner": sampling.inner,
        "replans": sampling.replans,
        "objective": str(terms.objective),
        "products": [one.name for one in terms.trade.lists],
        "logs": [one.row for one in done],
    }
