"""Ctrl-C once: the search ends and what it found is kept; twice: nothing is. And a time limit."""

import signal
from functools import partial

import numpy as np
import pytest

from pithline.cli.console import Console
from pithline.cli.stopping import ending
from pithline.plan.api import Monitor, price_start
from pithline.plan.class_choice import bolt_classes, contending
from pithline.plan.crosscut_search import CrosscutWay
from pithline.plan.pricing.class_search import ClassTask, ValuedLogs
from pithline.plan.problem.effort import HURRIED
from pithline.plan.search import see_way
from pithline.yard.one_log import plan_model
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request
from small_plan import QUICK, TRUTH, inputs_of
from truth.models import to_model


def test_once_and_twice(capsys):
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt), ending(Console(), None) as stopped:
        assert not stopped()
        signal.raise_signal(signal.SIGINT)
        assert stopped()
        assert "press Ctrl-C again to write nothing" in capsys.readouterr().err
        signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) == before


def test_time_limit():
    with ending(Console(), 1e-9) as stopped:
        assert stopped()
    with ending(Console(), 1e9) as stopped:
        assert not stopped()


def test_what_was_found_until_then_is_a_whole_plan_and_says_so():
    """Stopped in the very first moment: the search goes on until it has a plan, which is replayed like any."""
    script = plan_model(to_model(TRUTH), inputs_of(), Request(samples=2), Monitor(stopped=lambda: True)).script
    assert script["proof"]["status"] == "cut short"
    assert script["totals"]["instrument_volume"] > 0
    assert "any_layout" not in script["proof"]
    assert any("cut short" in caution for caution in script["cautions"])
    # a hurried search over all classes, and not the first moment of a thorough one
    assert f"along {HURRIED.along_step:g} mm" in script["proof"]["grid"]
    assert script["totals"]["sets"]["ukulele"] >= 8  # thirteen by a whole search, four the customary way


def test_a_class_that_is_looked_at_when_time_is_up_is_the_last():
    case = prepare_log(to_model(TRUTH), inputs_of()).case(Request(effort=QUICK))
    log, context = case.log, case.context
    seen = see_way(CrosscutWay((), (log,), 0.0, price_start(context.economics)), context)
    task = ClassTask(context.economics, (2.0, 1.2), (np.array([seen.rolls // 2]),))
    classes = bolt_classes(context, seen.on_mill)
    assert len(classes) >= 4
    for looks in range(3):
        asked = iter([False] * looks + [True])
        left, looked = contending(
            ValuedLogs(seen.grids, task), classes, seen.way.prices, {}, Monitor(stopped=partial(next, asked))
        )
        assert left == [classes[0]] and len(looked) == looks
