"""Pithline: from the scan of one hardwood log to a cut script for quartersawn instrument wood.

>>> import pithline
>>> inputs = pithline.read_inputs("card.toml")      # card, mill and products
>>> model = pithline.fit_scan(inputs)               # the log as fitted
>>> plan = pithline.plan_model(model, inputs)       # its cut script, proven by replay, and the ladder it stands on
>>> pithline.write_plan(plan, "plan")               # set-up sheet, shop cards, templates, labels, preview

docs/library.md shows all of it. Names are loaded when they are first asked for; importing the package changes nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pithline.errors import FitError, InputError, MillError, PithlineError, PlanError, ScriptError
    from pithline.library import (
        Appraisal,
        appraisal_terms,
        appraise_logs,
        check_script,
        fit_scan,
        plan_card,
        plan_model,
        read_card,
        read_inputs,
        read_script,
        replan_log,
        write_appraisal,
        write_plan,
    )
    from pithline.plan.api import COARSE, FULL, Effort, Locks, Monitor, Objective
    from pithline.yard.ladder_scripts import PlanScripts
    from pithline.yard.request import Inputs, Request

__version__ = "0.1.0"

__all__ = [
    "COARSE",
    "FULL",
    "Appraisal",
    "Effort",
    "FitError",
    "InputError",
    "Inputs",
    "Locks",
    "MillError",
    "Monitor",
    "Objective",
    "PithlineError",
    "PlanError",
    "PlanScripts",
    "Request",
    "ScriptError",
    "appraisal_terms",
    "appraise_logs",
    "check_script",
    "fit_scan",
    "plan_card",
    "plan_model",
    "read_card",
    "read_inputs",
    "read_script",
    "replan_log",
    "write_appraisal",
    "write_plan",
]

_HOMES = {
    "pithline.errors": {"FitError", "InputError", "MillError", "PithlineError", "PlanError", "ScriptError"},
    "pithline.plan.api": {"COARSE", "FULL", "Effort", "Locks", "Monitor", "Objective"},
    "pithline.yard.ladder_scripts": {"PlanScripts"},
    "pithline.yard.request": {"Inputs", "Request"},
}
"""Where names live that are not in `library`."""


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = next((module for module, names in _HOMES.items() if name in names), "pithline.library")
    value = getattr(import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
