"""The planner's face: everything that is called from outside `plan/`, and nothing else of it is (tests/unit/test_architecture.py).

In the order of a plan:

    plan_log            a fitted log in the planner's frame
    economics_of        what is sold of it, and what work costs, under an objective
    SawingTask, SearchContext, Monitor
                        what is wanted, what is asked of the search, who watches it
    search_candidates   the best layouts of every class, whole and crosscut, with what is proven of them
    practice            the customary layout beside them
    climb               each carried out on the machines of a Workshop, the best refined, as a ladder by rising work
    without_idle_cuts   one that was carried out alone, without cuts of which nothing comes
    sum_up, totals, evaluate, upper_bound
                        what a plan comes to, and what is not known of it
    glance, misfits     what the log gives by each of several product lists, and which wanted parts do not fit it

and once the log is open:

    split_script, put_found, sawn_state, remaining_work, replans_in_order, worth_gone_on

A yard that prices many plans of one log holds a `PricedLogs` (`priced_logs`): the wood is looked at once, prices go in, layouts
come out, and `proven_prices` says what none of them can exceed. Who turns a log by hand holds `HandTables` (`hand_tables`), which tell
at once what follows from a roll.
"""

from pithline.plan.evaluate.evaluation import Evaluation, Sampling, evaluate, upper_bound
from pithline.plan.evaluate.glance import Glance, glance
from pithline.plan.evaluate.judge import Judge, judge_on_samples, plate_counts
from pithline.plan.evaluate.ladder import Ladder, climb, ladder_without, paying_rung
from pithline.plan.evaluate.part_fit import Misfit, Why, misfits
from pithline.plan.evaluate.practice import PracticeResult, practice
from pithline.plan.evaluate.totals import Sums, piece_list, plate_list, sum_up, totals, weighed
from pithline.plan.evaluate.workbench import ExecutedPlan, PlanCase, Workbench, judged, without_idle_cuts
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.operation_json import operations_from_json, operations_to_json
from pithline.plan.execute.sets import gather_sets
from pithline.plan.execute.slab_fill import FillRequest, PlacesCache
from pithline.plan.execute.workshop import Workshop, execute_as_drawn, workshop_of
from pithline.plan.priced_logs import PricedLogs, ProvenPrices, crosscut_places, priced_logs, proven_prices
from pithline.plan.pricing.log_oracle import BoltClass
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.economics import LITRE, Economics, Objective, economics_of
from pithline.plan.problem.effort import COARSE, EFFORTS, FULL, Effort
from pithline.plan.problem.infeasible import no_part_fits
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.layout import NO_LOCKS, LayoutSetting, LayoutSlab, Locks
from pithline.plan.problem.log_frame import (
    WHOLE_RESERVE,
    PlanLog,
    Reserve,
    plan_log,
    with_reserve,
)
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.parts import SawnPart, sawn_parts
from pithline.plan.problem.task import SawingTask, plates_wanted
from pithline.plan.replan.found_cuts import MovedHistory, put_found
from pithline.plan.replan.remaining_work import RemainingWork, remaining_work
from pithline.plan.replan.sawn_state import SawnState, sawn_state
from pithline.plan.replan.script_history import SplitScript, must_have_cut, pieces_made, split_script
from pithline.plan.replan.script_layouts import layout_of_script
from pithline.plan.replan.search import replans_in_order, worth_gone_on
from pithline.plan.search import Candidate, cost_of_locks, kept_candidate, price_start, search_candidates
from pithline.plan.what_if import AT_ONCE, CLOSELY, HandAnswer, HandChoice, HandTables, hand_tables

__all__ = [
    "AT_ONCE",
    "CLOSELY",
    "COARSE",
    "EFFORTS",
    "FULL",
    "LITRE",
    "NO_LOCKS",
    "SILENT",
    "WHOLE_RESERVE",
    "BoltClass",
    "Candidate",
    "Economics",
    "Effort",
    "Evaluation",
    "ExecutedPlan",
    "FillRequest",
    "Glance",
    "HandAnswer",
    "HandChoice",
    "HandTables",
    "Judge",
    "Ladder",
    "LayoutSetting",
    "LayoutSlab",
    "Ledger",
    "Locks",
    "LogLayout",
    "Misfit",
    "Monitor",
    "MovedHistory",
    "Objective",
    "PlacesCache",
    "PlanCase",
    "PlanLog",
    "Plate",
    "PracticeResult",
    "PricedLogs",
    "ProvenPrices",
    "RemainingWork",
    "Reserve",
    "Sampling",
    "SawingTask",
    "SawnPart",
    "SawnState",
    "SearchContext",
    "SplitScript",
    "Sums",
    "Why",
    "Workbench",
    "Workshop",
    "climb",
    "cost_of_locks",
    "crosscut_log",
    "crosscut_places",
    "economics_of",
    "evaluate",
    "execute_as_drawn",
    "gather_sets",
    "glance",
    "hand_tables",
    "judge_on_samples",
    "judged",
    "kept_candidate",
    "ladder_without",
    "layout_of_script",
    "misfits",
    "must_have_cut",
    "no_part_fits",
    "operations_from_json",
    "operations_to_json",
    "paying_rung",
    "piece_list",
    "pieces_made",
    "plan_log",
    "plate_counts",
    "plate_kinds",
    "plate_list",
    "plates_wanted",
    "practice",
    "price_start",
    "priced_logs",
    "proven_prices",
    "put_found",
    "remaining_work",
    "replans_in_order",
    "sawn_parts",
    "sawn_state",
    "search_candidates",
    "split_script",
    "sum_up",
    "totals",
    "upper_bound",
    "weighed",
    "with_reserve",
    "without_idle_cuts",
    "workshop_of",
    "worth_gone_on",
]
