"""Refinement below the grid: moves that gain are kept, no others, and no more trials than are allowed."""

import numpy as np
import pytest

from pithline.plan.evaluate.refine import RefineSteps, refine, turned
from pithline.plan.execute.bucked_log import LogLayout
from pithline.plan.problem.layout import LayoutSetting, LayoutSlab, settings_of
from pithline.plan.problem.monitor import Monitor

STEP = np.radians(2.5)
FLUSH_BOLT = LayoutSetting(0.0, (LayoutSlab(40.0, 20.0),), role="bolt")
FAN_BOLT = LayoutSetting(np.radians(130.0), (LayoutSlab(-10.0, 30.0),), role="bolt")
HALF = LayoutSetting(np.pi / 2, (LayoutSlab(-15.0, 30.0),), above=FLUSH_BOLT, below=FAN_BOLT, role="half")
LAYOUT = LayoutSetting(0.0, (LayoutSlab(-20.0, 40.0),), above=HALF)


def refine_layout(value, trials=100, turn=True, layout=LAYOUT, stopped=lambda: False, ahead=False):
    """The layout refined where a sawing is worth what `value` says of its layout, and the layouts tried here."""
    seen, begun = [], []

    def carry(sawing):
        seen.append(sawing.layouts[0])
        return value(sawing.layouts[0]), sawing.layouts[0]

    def elsewhere(sawing):
        begun.append(sawing.layouts[0])
        return lambda: (value(sawing.layouts[0]), sawing.layouts[0])

    sawing = LogLayout(None, (), (None,), (layout,))
    steps = RefineSteps(trials, STEP, 1.0, turn)
    found, ledger = refine(sawing, carry, steps, Monitor(stopped=stopped), elsewhere if ahead else None)
    assert ledger == found.layouts[0]
    assert bool(begun) == (ahead and trials > 1)
    return found.layouts[0], seen


def test_nothing_gains():
    found, seen = refine_layout(lambda layout: 1.0)
    assert found is LAYOUT
    assert len(seen) == len(set(seen)) > 8


def test_a_shift_that_gains_is_kept():
    found, _ = refine_layout(lambda layout: -abs(layout.above.slabs[0].low + 13.0))
    assert found.above.slabs[0].low == -14.0
    assert found.slabs == LAYOUT.slabs


def test_a_fan_is_turned_and_a_flush_setting_is_not():
    def value(layout):
        return np.cos(layout.above.below.clock - np.radians(135.0)) - abs(layout.above.clock - HALF.clock)

    found, seen = refine_layout(value, turn=False)
    assert found.above.below.clock == pytest.approx(np.radians(132.5))
    for layout in seen:
        flush = layout.above.above
        assert flush.slabs == FLUSH_BOLT.slabs
        assert np.sin(flush.clock - layout.clock) == pytest.approx(0.0, abs=1e-12)


def test_a_half_is_turned_with_its_fans_but_not_what_runs_along_the_first_face():
    found, _ = refine_layout(lambda layout: -abs(layout.above.clock - HALF.clock - STEP), turn=False)
    assert found.above.clock == pytest.approx(HALF.clock + STEP)
    assert found.above.below.clock == pytest.approx(FAN_BOLT.clock + STEP)
    assert found.above.above == FLUSH_BOLT
    assert found.clock == LAYOUT.clock


def test_the_whole_log_is_turned_unless_its_roll_is_locked():
    def value(layout):
        return np.cos(layout.clock - STEP)

    found, _ = refine_layout(value)
    turns = [np.mod(a.clock - b.clock, 2 * np.pi) for a, b in zip(settings_of(found), settings_of(LAYOUT), strict=True)]
    assert turns == pytest.approx([STEP] * 4)
    assert refine_layout(value, turn=False)[0] is LAYOUT


@pytest.mark.parametrize("trials", [2, 3, 5, 8, 100])
@pytest.mark.parametrize(
    "value",
    [
        lambda layout: 1.0,
        lambda layout: -abs(layout.above.slabs[0].low + 13.0),
        lambda layout: np.cos(layout.clock - STEP),
        lambda layout: np.cos(layout.above.below.clock - np.radians(135.0)) - abs(layout.above.clock - HALF.clock),
    ],
)
def test_trials_made_ahead_elsewhere_find_the_same(value, trials):
    alone, tried = refine_layout(value, trials)
    beside, here = refine_layout(value, trials, ahead=True)
    assert beside == alone
    assert len(here) <= len(tried) - (trials > 3)


def test_no_more_trials_than_allowed():
    _, seen = refine_layout(lambda layout: 1.0, trials=3)
    assert len(seen) == 4  # the layout itself first
    _, seen = refine_layout(lambda layout: 1.0, stopped=lambda: True)
    assert len(seen) == 1


def test_what_is_refused_is_not_taken():
    found, _ = refine_layout(lambda layout: 1.0 if layout == LAYOUT else -np.inf)
    assert found is LAYOUT


def test_turned_there_and_back():
    back = turned(turned(LAYOUT, 0.3), -0.3)
    for a, b in zip(settings_of(back), settings_of(LAYOUT), strict=True):
        assert np.exp(1j * a.clock) == pytest.approx(np.exp(1j * b.clock))
        assert a.slabs == b.slabs
