"""Work done aside: the same as if done in turn, and begun for logs alone that are worth another process."""

import contextlib
import operator
import os
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest

from pithline.errors import ScriptError
from pithline.logmodel.document import model_to_json
from pithline.outputs.plan_folder import plan_files
from pithline.plan.api import SILENT, Monitor, search_candidates
from pithline.script.document import dumps
from pithline.yard.aside import WORTH_A_PROCESS, Aside, Begun, asked_to_end, work_aside
from pithline.yard.one_log import fit_scan, plan_model
from pithline.yard.prepared_log import prepare_log
from pithline.yard.request import Request, read_inputs
from pithline.yard.search_by_sets import SearchBySets
from pithline.yard.watch import PlanWatch
from small_plan import QUICK, TRUTH, inputs_of
from truth.models import to_model
from unit.aside_work import ended_from_outside, refused

REQUEST = Request(effort=QUICK, samples=2)
HERE = os.getpid()
SAMPLES = Path(__file__).resolve().parents[2] / "sample_scans"
LARGE = 2e9 * WORTH_A_PROCESS


@pytest.fixture(scope="module")
def apart():
    with work_aside() as aside:
        aside.may = True
        aside.start(LARGE)
        yield aside


def test_in_turn_work_is_done_when_what_it_gives_is_asked_for():
    done = []
    found = Aside().begin(done.append, 1)
    assert done == []
    assert not found.ready()
    found()
    assert done == [1]


def test_another_process_does_the_work(apart):
    assert apart.apart and apart.begin(os.getpid)() != HERE
    assert apart.begin(operator.add, 2, 3)() == 5


def test_work_that_was_waited_for_is_ready(apart):
    begun = apart.begin(operator.add, 2, 3)
    assert begun() == 5 and begun.ready()


def test_work_in_the_other_process_hears_that_it_should_end():
    with work_aside() as aside:
        aside.may = True
        aside.start(LARGE)
        assert not aside.begin(asked_to_end)()
        aside.end_early()
        assert aside.begin(asked_to_end)()
    assert not asked_to_end()


def test_by_money_a_search_by_sets_in_the_other_process_finds_the_same_as_one_in_turn(apart):
    own = prepare_log(to_model(TRUTH), inputs_of())
    case = own.case(REQUEST)
    beside = search_candidates(case.log, case.context)[0]
    found = []
    for aside in (Aside(), apart):
        search = SearchBySets.of(own, REQUEST, aside)
        search.begin()
        assert (search.begun is None) == (aside is not apart)
        found.append(search.found(beside, PlanWatch(SILENT, "in money")))
    assert found[0] and [one.log_layout.layouts for one in found[0]] == [one.log_layout.layouts for one in found[1]]
    assert all(not one.searched and one.bound == beside.bound for one in found[1])


def test_a_search_by_sets_is_not_waited_for_once_an_end_is_asked(apart):
    own = prepare_log(to_model(TRUTH), inputs_of())
    search = SearchBySets(own.case(REQUEST).log, own.case(REQUEST).context, apart, Begun(pytest.fail))
    apart_ending = []
    search.aside = SimpleNamespace(end_early=lambda: apart_ending.append(True))
    stopped = PlanWatch(Monitor(stopped=lambda: True), "in money")
    assert search.found(None, stopped) == [] and apart_ending == [True]


def test_a_process_may_load_once_the_log_is_told_from_the_rest_of_a_scan():
    started = []
    model = fit_scan(read_inputs(SAMPLES / "af-15.toml"), aside=SimpleNamespace(start=started.append))
    wood = model_to_json(model)["volume_under_bark"]
    assert len(started) == 1 and wood < started[0] < 1.5 * wood  # with its bark, roughly


def test_what_the_work_refuses_is_told_as_it_was(apart):
    with pytest.raises(ScriptError, match=r"^it does not hold\.$"):
        apart.begin(refused)()


@pytest.mark.parametrize(
    ("may", "volume", "begun"), [(True, 0.4 * LARGE, False), (False, LARGE, False), (True, LARGE, True)]
)
def test_a_process_is_begun_where_it_may_for_a_large_log(may, volume, begun):
    with work_aside() as aside:
        aside.may = may
        aside.start(volume)
        assert aside.apart == begun


def test_work_of_a_process_that_was_ended_is_done_here():
    with work_aside() as aside:
        aside.may = True
        aside.start(LARGE)
        assert aside.begin(ended_from_outside, 1, os.getpid())() == 2


def test_a_plan_is_the_same_to_the_byte(apart):
    model, inputs = to_model(TRUTH), inputs_of()
    alone, shared = plan_model(model, inputs, REQUEST), plan_model(model, inputs, REQUEST, aside=apart)
    assert dumps(shared.script) == dumps(alone.script)
    assert {path: dumps(one) for path, one in shared.ladder.items()} == {
        path: dumps(one) for path, one in alone.ladder.items()
    }
    made = plan_files(alone.script)
    assert plan_files(shared.script, begin=apart.begin) == made and next(iter(made)) == "cut-script.json"


KILLED = """
import os, signal
from pithline.yard.aside import WORTH_A_PROCESS, work_aside

if __name__ == "__main__":
    with work_aside() as aside:
        aside.may = True
        aside.start(2e9 * WORTH_A_PROCESS)
        print(aside.begin(os.getpid)(), flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
"""


def test_the_other_process_ends_with_the_one_that_began_it_even_where_that_is_killed(tmp_path):
    script = tmp_path / "killed.py"
    script.write_text(KILLED)
    ran = subprocess.run([sys.executable, str(script)], stdout=subprocess.PIPE, check=False)
    assert ran.returncode == -signal.SIGKILL
    begun = int(ran.stdout)
    with contextlib.suppress(psutil.NoSuchProcess):
        psutil.Process(begun).wait(30)
    assert not psutil.pid_exists(begun)
