"""Ctrl-C once: the search ends and what it found is kept; twice: nothing is. And a time limit."""

import signal

import pytest

from pithline.cli.console import Console
from pithline.cli.stopping import ending
from pithline.plan.api import Monitor
from pithline.yard.one_log import plan_model
from pithline.yard.request import Request
from small_plan import TRUTH, inputs_of
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
