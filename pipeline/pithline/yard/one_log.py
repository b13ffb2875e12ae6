"""One log from card to cut script, as a command or a worker runs it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pithline.errors import InputError, PlanError, about
from pithline.files.scans import read_scan
from pithline.logmodel.document import model_to_json
from pithline.logmodel.model import LogModel
from pithline.plan.api import (
    NO_LOCKS,
    SILENT,
    Candidate,
    ExecutedPlan,
    Judge,
    Monitor,
    PlanCase,
    PlanLog,
    PracticeResult,
    SearchContext,
    climb,
    cost_of_locks,
    kept_candidate,
    no_part_fits,
    practice,
    price_start,
    search_candidates,
)
from pithline.yard.aside import IN_TURN, Aside
from pithline.yard.earlier_plan import check_same_scan, earlier_candidate
from pithline.yard.finalise import (
    practice_beside,
)
from pithline.yard.good_for import all_together, contending, misfits_told, weigh_lists
from pithline.yard.ladder_scripts import LadderScripts, PlanScripts, WaysToSaw, refuse_missing_rung
from pithline.yard.prepared_log import PreparedLog, prepare_log
from pithline.yard.request import Inputs, Request, read_inputs
from pithline.yard.search_by_sets import SearchBySets
from pithline.yard.watch import PlanWatch


def plan_card(
    card_path: str | Path,
    mill: str | Path | None,
    products: Sequence[str | Path],
    request: Request,
    monitor: Monitor = SILENT,
    aside: Aside = IN_TURN,
) -> PlanScripts:
    """Card to cut script: read, fit, plan, replay.

    Parameters
    ----------
    card_path : str or Path
        The log card.
    mill : str, Path or None
        Its file, or the name of a bundled one; the bundled portable mill where None.
    products : sequence of str or Path
        Product lists: files, bundled ones by name, or "all"; the bundled guitar sets where none is named.
    request : Request
        What is asked.
    monitor : Monitor
        Hears how far it is.
    aside : Aside
        Takes work that another process can do meanwhile.

    Raises
    ------
    PithlineError
        Where a file cannot be used, the scan shows no one log, or as `plan_model` does.
    """
    inputs = read_inputs(card_path, mill, products)
    if request.keep is not None:
        check_same_scan(request.keep, inputs)
    model = fit_scan(inputs, request.pick, monitor.within(0.0, 0.05), aside)
    return plan_model(model, inputs, request, monitor, aside)


def fit_scan(inputs: Inputs, pick: int | None = None, monitor: Monitor = SILENT, aside: Aside = IN_TURN) -> LogModel:
    """Read the scan of a log and fit the log in it.

    Parameters
    ----------
    inputs : Inputs
        What was read for it.
    pick : int, optional
        Which log, where the scan shows several, 1 the largest.
    monitor : Monitor
        Hears how far it is.
    aside : Aside
        Loads once the log is told from the rest of the scan, where it is worth that.

    Raises
    ------
    InputError
        Where the scan cannot be read.
    FitError
        Where it shows no one log.
    """
    from pithline.logmodel.fit import fit_log

    if inputs.scan_file is None:
        raise InputError(f"{inputs.card.id}: these inputs name no scan; read them from a card that does.")
    monitor.report("reading the scan", 0.4)
    scan = read_scan(inputs.scan_file)
    monitor.report("fitting the log", 1.0)
    with about(fit=inputs.scan_file, other=inputs.card_file):
        return fit_log(scan.points, inputs.card, default_up=scan.default_up, pick=pick, found=aside.start)


def plan_model(
    model: LogModel, inputs: Inputs, request: Request, monitor: Monitor = SILENT, aside: Aside = IN_TURN
) -> PlanScripts:
    """Fitted log to cut script, with the ladder of plans that it stands on.

    Parameters
    ----------
    model : LogModel
        The fitted log.
    inputs : Inputs
        Card, mill and products.
    request : Request
        What is asked.
    monitor : Monitor
        Hears how far it is.
    aside : Aside
        Takes work that another process can do meanwhile.

    Returns
    -------
    PlanScripts
        Cut scripts as JSON has them, each proven by replay.

    Raises
    ------
    InputError
        Where nothing can be wanted of the log, or its ladder has no rung of the number asked for.
    MillError, PlanError
        Where the mill cannot hold the log, or no part fits.
    ScriptError
        Where the replay finds the plan's own script wanting: a defect, said as such.
    """
    own = prepare_log(model, inputs)
    document = model_to_json(model)
    aside.start(document["volume_under_bark"])
    own.check(crosscut=request.bucking)
    watch = PlanWatch(replace(monitor, begin=aside.begin), "in money" if request.objective.in_money else "L")
    refuse_hopeless(own.log, own.case(request).context, inputs.card.id)
    rows = weigh_lists(own, request, watch) if len(inputs.lists) > 1 else []
    own = contending(own, rows)
    case = own.case(request)
    ways = ways_to_saw(own, case, request, watch, aside)
    aside.make_room()
    beside = aside.begin(practice_beside, ways.custom, own, document)
    ladder = climb(case, ways.candidates, watch.monitor.within(0.7, 0.88), aside.begin if aside.apart else None)
    if not ladder.rungs:
        raise PlanError(
            f"{inputs.card.id}: no layout that this mill can hold gives a passing plate"
            + (f" ({ladder.refused})" if ladder.refused else "")
            + "; name another mill or looser limits."
        )
    refuse_missing_rung(ladder, request, inputs.card.id)

    def tell(script: dict[str, Any], most: ExecutedPlan) -> None:
        if rows:
            script["proof"]["good_for"] = [*rows, all_together(script["totals"], own)]
        else:
            script["proof"] |= misfits_told(own, most.candidate.log_layout.places, script)

    planning = LadderScripts(own, case, request, ways, document, beside())
    return planning.scripts(ladder, watch, aside, tell)


def ways_to_saw(
    own: PreparedLog, case: PlanCase, request: Request, watch: PlanWatch, aside: Aside = IN_TURN
) -> WaysToSaw:
    """Search the log, and set the practice layout and an earlier plan beside what is found.

    Parameters
    ----------
    own : PreparedLog
        The log.
    case : PlanCase
        It as a case for the planner.
    request : Request
        What is asked.
    watch : PlanWatch
        Hears how far it is, and what is found.
    aside : Aside
        Takes the practice layout, where the mill takes the log whole.
    """
    log, context, sizes = case.log, case.context, own.inputs.practice
    too_long = log.reach > own.machines.mill.log_length_max
    start = price_start(context.economics)
    custom: PracticeResult | None = None
    if not too_long:
        watch.tell("practice layout", 0.05)
        practised = aside.begin(practice, log, context, sizes, start)
        judge = Judge(context.with_locks(NO_LOCKS))
        if aside.apart:
            watch.coming = lambda: judge.worth(practised().with_bolts) if practised.ready() else None
        else:
            custom = practised()
            watch.found(judge.worth(custom.with_bolts))
    with about(other=own.inputs.card.id):
        if request.objective.in_money:
            by_sets = SearchBySets.of(own, request, aside)
            by_sets.begin()
            # the other process is busy with that, so nothing else is handed to it
            alone = watch.monitor if by_sets.begun is None else replace(watch.monitor, begin=SILENT.begin)
            ways = search_candidates(log, context, alone.within(0.06, 0.37))
            ways += by_sets.found(_widest(ways), watch) if ways else []
        else:
            ways = search_candidates(log, context, watch.monitor.within(0.06, 0.68))
    if not ways:  # too long, and no crosscut leaves what the mill takes
        own.check()
    lost = None
    if request.locks != NO_LOCKS and not watch.stopped():
        lost = cost_of_locks(log, context, ways, watch.monitor.within(0.68, 0.68))
    if custom is None:
        watch.tell("practice layout", 0.68)
        custom = practice(log, context, sizes, start, ways[0].log_layout.places) if too_long else practised()
    if request.locks == NO_LOCKS:
        ways.append(kept_candidate(custom.log_layout, _widest(ways), "practice layout kept"))
    if request.keep is not None:
        kept = earlier_candidate(request.keep, log, own.inputs, ways[0])
        ways += [kept] if kept is not None else []
    return WaysToSaw(ways, custom, lost)


def _widest(ways: Sequence[Candidate]) -> Candidate:
    """What is stated of a plan that no search found: the most that any class could hold, and the prices there."""
    return max(ways, key=lambda one: one.bound)


def refuse_hopeless(log: PlanLog, context: SearchContext, name: str) -> None:
    """Refuse at once what no search can mend: nothing wanted, or every part longer than the log."""
    market = context.economics.market
    if not (market.demand > 0).any():
        raise InputError(f"{name}: nothing is wanted of it, since every product has demand = 0; raise a demand.")
    if not (market.set_worth[market.demand[market.product] > 0].any() or market.loose.any()):
        raise InputError(f"{name}: nothing wanted has a price, so no plan is of more value than another; add prices.")
    clear = log.model.length - log.trim_butt - log.trim_top
    if clear <= 0:
        raise InputError(
            f"{name}: the trims ({log.trim_butt:.0f} and {log.trim_top:.0f} mm) leave nothing of a log "
            f"{log.model.length:.0f} mm long; lessen them."
        )
    if log.pith_radius >= log.field.radius.max():
        raise InputError(
            f"{name}: the pith's radius on the card, {log.pith_radius:.0f} mm, leaves nothing of a log whose wood reaches "
            f"{log.field.radius.max():.0f} mm from the pith; correct it."
        )
    if min(part.length for part in context.parts) > clear:
        with about(other=name):
            raise no_part_fits(log, context.parts)
