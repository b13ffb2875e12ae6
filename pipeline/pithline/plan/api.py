"""The planner's face: everything that is called from outside `plan/`, and nothing else of it is (tests/unit/test_architecture.py).

In the order of a plan:

    plan_log            a fitted log in the planner's frame
    SawingTask, SearchContext, Monitor
                        what is wanted, what is asked of the search, who watches it
    search_candidates   ways to saw the log, whole and crosscut, with what is proven of them
    practice            the customary layout beside them
    plans_in_order      each carried out on the machines of a Workshop, ranked, the best refined
    sum_up, totals, evaluate, settings_trade_off, upper_bound
                        what a plan comes to, and what is not known of it

and once the log is open:

    split_script, put_found, sawn_state, remaining_work, replans_in_order

A yard that prices many plans of one log calls `priced_columns`: the wood is looked at once, prices go in, columns come out.
"""

from pithline.plan.columns.bucking import crosscut_candidates
from pithline.plan.columns.log_columns import balanced_prices, shared_prices
from pithline.plan.columns.master import SETS_FIRST, MasterAnswer
from pithline.plan.columns.priced_columns import PricedColumns, PricedView, priced_columns
from pithline.plan.evaluate.choose import ExecutedPlan, PlanCase, plans_in_order
from pithline.plan.evaluate.evaluation import Evaluation, Sampling, evaluate, settings_trade_off, upper_bound
from pithline.plan.evaluate.practice import PracticeResult, practice
from pithline.plan.evaluate.ranking import Judge, as_fitted, counted_worth, kept_candidate, practice_candidate
from pithline.plan.evaluate.totals import Sums, piece_list, plate_list, sum_up, totals, weighed
from pithline.plan.execute.bucked_log import LogLayout, crosscut_log
from pithline.plan.execute.ledger import Ledger, Plate
from pithline.plan.execute.operation_json import operations_from_json, operations_to_json
from pithline.plan.execute.sets import gather_sets
from pithline.plan.execute.slab_layout import SlabCache
from pithline.plan.execute.workshop import Workshop, execute_as_drawn, workshop_of
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import COARSE, EFFORTS, FULL, Effort
from pithline.plan.problem.infeasible import no_part_fits
from pithline.plan.problem.layout import NO_LOCKS, LayoutSetting, LayoutSlab, Locks
from pithline.plan.problem.log_frame import (
    WHOLE_RESERVE,
    PlanLog,
    Reserve,
    plan_log,
    with_reserve,
)
from pithline.plan.problem.monitor import SILENT, Monitor
from pithline.plan.problem.objective import LITRE, Objective, ObjectiveWeights, setting_cost
from pithline.plan.problem.parts import SawnPart, sawn_parts
from pithline.plan.problem.task import SawingTask, plates_wanted
from pithline.plan.replan.found_cuts import MovedHistory, put_found
from pithline.plan.replan.remaining_work import RemainingWork, remaining_work
from pithline.plan.replan.sawn_state import SawnState, sawn_state
from pithline.plan.replan.script_history import SplitScript, pieces_made, split_script
from pithline.plan.replan.script_layouts import layout_of_script
from pithline.plan.replan.search import replans_in_order
from pithline.plan.search import Candidate, SearchResult, cost_of_locks, search_candidates, search_logs, search_words

__all__ = [
    "COARSE",
    "EFFORTS",
    "FULL",
    "LITRE",
    "NO_LOCKS",
    "SETS_FIRST",
    "SILENT",
    "WHOLE_RESERVE",
    "Candidate",
    "Effort",
    "Evaluation",
    "ExecutedPlan",
    "Judge",
    "LayoutSetting",
    "LayoutSlab",
    "Ledger",
    "Locks",
    "LogLayout",
    "MasterAnswer",
    "Monitor",
    "MovedHistory",
    "Objective",
    "ObjectiveWeights",
    "PlanCase",
    "PlanLog",
    "Plate",
    "PracticeResult",
    "PricedColumns",
    "PricedView",
    "RemainingWork",
    "Reserve",
    "Sampling",
    "SawingTask",
    "SawnPart",
    "SawnState",
    "SearchContext",
    "SearchResult",
    "SlabCache",
    "SplitScript",
    "Sums",
    "Workshop",
    "as_fitted",
    "balanced_prices",
    "cost_of_locks",
    "counted_worth",
    "crosscut_candidates",
    "crosscut_log",
    "evaluate",
    "execute_as_drawn",
    "gather_sets",
    "kept_candidate",
    "layout_of_script",
    "no_part_fits",
    "operations_from_json",
    "operations_to_json",
    "piece_list",
    "pieces_made",
    "plan_log",
    "plans_in_order",
    "plate_list",
    "plates_wanted",
    "practice",
    "practice_candidate",
    "priced_columns",
    "put_found",
    "remaining_work",
    "replans_in_order",
    "sawn_parts",
    "sawn_state",
    "search_candidates",
    "search_logs",
    "search_words",
    "setting_cost",
    "settings_trade_off",
    "shared_prices",
    "split_script",
    "sum_up",
    "totals",
    "upper_bound",
    "weighed",
    "with_reserve",
    "workshop_of",
]
