"""What lies in a yard, and work that goes on without the page and the server that started it."""

import json
import subprocess
import sys
import time

import numpy as np
import pytest

from pithline.errors import InputError
from pithline.files.scripts import read_script
from pithline.outputs.print_job import print_job
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs, JobState, _children, end_of_best, stop_file, write_state
from pithline.shed.plan_view import kept_view
from pithline.shed.worker import Telling, plain_sentence, take
from shed_yard import make_yard


@pytest.fixture
def yard(tmp_path):
    yield YardFolder(make_yard(tmp_path))
    for child in _children:
        child.wait(60)


def ended(jobs, kind, log, seconds=120.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        state = jobs.state(kind, log)
        if state is not None and state.done:
            return state
        time.sleep(0.2)
    raise AssertionError("the work did not end")


def test_logs_are_cards_and_scans_that_have_none(yard):
    (yard.root / "new.ply").write_bytes(b"ply\n")
    (yard.root / "notes.toml").write_text("[mill]\nname = 'x'\n")
    (yard.root / "orders.csv").write_text("product,quantity\n")
    (yard.root / "broken.toml").write_text("[log]\nid = \n")
    found = {entry.name: entry for entry in yard.logs()}
    assert set(found) == {"small", "new", "broken"}
    assert found["new"].card is None and found["new"].scan is not None
    assert "cannot be read" in found["broken"].fault
    assert found["small"].wood == "black walnut"


def test_plans_are_found_by_the_log_that_their_script_names(yard):
    assert [plan.name for plan in yard.log("small").plans] == ["small/plan-1"]
    other = yard.root / "elsewhere"
    other.mkdir()
    (other / "cut-script.json").write_bytes((yard.root / "small" / "plan-1" / "cut-script.json").read_bytes())
    (yard.hidden / "x").mkdir(parents=True)
    (yard.hidden / "x" / "cut-script.json").write_bytes((other / "cut-script.json").read_bytes())
    assert {plan.name for plan in yard.log("small").plans} == {"small/plan-1", "elsewhere"}
    assert yard.next_plan("small") == "small/plan-2"


@pytest.mark.parametrize("name", ["../small", "small/..", "", "nobody", "/etc/passwd"])
def test_a_log_or_plan_that_is_not_there_is_none(yard, name):
    with pytest.raises(InputError, match="no log"):
        yard.log(name)
    with pytest.raises(InputError, match="no plan"):
        yard.plan("small", name)


def test_a_scan_outside_the_yard_is_none_of_its_own(yard, tmp_path_factory):
    away = tmp_path_factory.mktemp("away") / "secret.ply"
    away.write_bytes(b"ply\n")
    (yard.root / "far.toml").write_text(f'[log]\nid = "far"\nspecies = "black walnut"\nscan = "{away}"\n')
    assert yard.log("far").scan is None


def test_mills_and_products_of_the_yard_come_before_bundled_ones(yard):
    (yard.root / "mills").mkdir()
    (yard.root / "mills" / "ours.toml").write_text("[mill]\n")
    assert yard.choices("mills")[0] == "mills/ours.toml" and "portable" in yard.choices("mills")
    assert yard.choice_path("mills", "mills/ours.toml") == str(yard.root / "mills" / "ours.toml")
    assert yard.choice_path("mills", "portable") == "portable"
    for other in ("../secret", "/etc/passwd", "mills/none.toml"):
        with pytest.raises(InputError):
            yard.choice_path("mills", other)


def test_work_is_done_by_a_process_of_its_own_and_its_state_is_a_file(yard):
    jobs = Jobs(yard)
    started = jobs.start("look", "small", {"plan": "small/plan-1", "units": "mm"})
    assert started.alive
    with pytest.raises(InputError, match="worked on already"):
        jobs.start("look", "small", {"plan": "small/plan-1", "units": "mm"})
    state = ended(Jobs(YardFolder(yard.root)), "look", "small")
    assert state.fault == "" and state.part == 1.0
    view = kept_view(yard, yard.root / "small" / "plan-1", "mm")
    assert view is not None and len(view["steps"]) > 3 and view["ladder"][0]["picture"]["svg"].startswith("<svg")


def test_a_fault_of_the_users_is_one_sentence_without_the_folder(yard):
    (yard.root / "bad.ply").write_bytes(b"ply\nformat ascii 1.0\nend_header\n")
    jobs = Jobs(yard)
    jobs.start("begin", "bad", {})
    state = ended(jobs, "begin", "bad")
    assert state.fault.startswith("bad.ply") and "\n" not in state.fault and str(yard.root) not in state.fault


def test_work_whose_process_is_gone_is_known_as_broken_off(yard):
    gone = subprocess.Popen([sys.executable, "-c", "pass"])
    gone.wait()
    state = JobState("plan", "small", pid=gone.pid, started=time.time() - 60)
    assert state.broken_off and not state.alive


def test_another_process_of_the_same_number_is_not_taken_for_the_work():
    other = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    try:
        assert not JobState("plan", "small", pid=other.pid, started=time.time() - 60).alive
    finally:
        other.kill()
        other.wait()


def test_a_search_tells_its_best_and_bound_and_hears_that_it_is_to_stop(yard):
    jobs = Jobs(yard)
    path = jobs.path("plan", "small")
    telling = Telling(path, JobState("plan", "small", started=time.time()))
    write_state(path, telling.state)
    telling.tell("searching, any angle: best so far 11.2 L, net of charges", 0.3)
    telling.found(11.2)
    telling.found(10.0, 19.8)
    telling.found(16.5, 18.0)
    state = jobs.state("plan", "small")
    assert state.what == "searching, any angle" and [point[1:] for point in state.curve] == [
        [11.2, None],
        [11.2, 19.8],
        [16.5, 19.8],
    ]
    assert not telling.stopped()
    jobs.stop("plan", "small")
    assert telling.stopped() and stop_file(path).exists()
    telling.end("no layout fits")
    assert jobs.state("plan", "small").fault == "no layout fits"


def test_the_end_of_the_best_plan_so_far_is_drawn_and_goes_with_the_next_search(yard):
    jobs = Jobs(yard)
    telling = Telling(jobs.path("plan", "small"), JobState("plan", "small", started=time.time()))
    model = print_job(read_script(yard.root / "small" / "plan-1" / "cut-script.json"), "mm").log.script.model
    edges = np.diag([model.length, 60.0, 20.0])
    telling.carried_out(model, [("guitar, back", np.array([0.0, 20.0, 20.0]), edges)])
    drawn = end_of_best(telling.path)
    assert drawn.read_text().startswith("<svg") and drawn.read_text().count('class="plate"') == 1
    jobs.start("plan", "small", {})
    assert not drawn.exists()


def test_a_sentence_leaves_the_folder_out(yard):
    assert plain_sentence(f"{yard.root}/a.toml: [log]\n is odd", yard) == "a.toml: [log] is odd"


def with_ladder(plan, place):
    """The hand-made plan on a ladder of two: `place` is where it says that the other one lies."""
    script = json.loads((plan / "cut-script.json").read_text())

    def on_rung(chosen, caution):
        own = {**script, "cautions": [caution]}
        rows = [
            {
                "title": title,
                "chosen": title == chosen,
                "script": None if title == chosen else where,
                **script["totals"],
            }
            for title, where in (("bolts left", place), ("cradle 30°", "ladder/plan-2.json"))
        ]
        return json.dumps({**own, "proof": {**script["proof"], "ladder": rows}})

    (plan / "ladder").mkdir()
    (plan / "cut-script.json").write_text(on_rung("cradle 30°", "The bolts are sawn."))
    (plan / "ladder" / "plan-1.json").write_text(on_rung("bolts left", "The bolts are left."))


def taken(yard, rung):
    jobs = Jobs(yard)
    asked = {"plan": "small/plan-1", "rung": rung, "units": "mm"}
    state = JobState("take", "small", out="small/plan-2", started=time.time(), asked=asked)
    take(yard, state, Telling(jobs.path("take", "small"), state))
    return yard.root / "small" / "plan-2"


def test_another_plan_of_the_ladder_is_taken_without_a_search_and_back(yard):
    with_ladder(yard.root / "small" / "plan-1", "ladder/plan-1.json")
    new = taken(yard, 0)
    assert json.loads((new / "cut-script.json").read_text())["cautions"] == ["The bolts are left."]
    assert json.loads((new / "ladder" / "plan-2.json").read_text())["cautions"] == ["The bolts are sawn."]
    assert (new / "set-up-sheet.pdf").is_file() and (new / "shop-cards.pdf").is_file()
    view = kept_view(yard, new, "mm")
    assert [(row["title"], row["chosen"], row["own"]) for row in view["ladder"]] == [
        ("bolts left whole", True, True),
        ("bolts in the 30° cradle", False, True),
    ]


def test_a_ladder_leads_to_no_file_outside_its_folder(yard):
    with_ladder(yard.root / "small" / "plan-1", "../../small/plan-1/cut-script.json")
    with pytest.raises(InputError, match="not in the ladder's folder any more"):
        taken(yard, 0)
    with pytest.raises(InputError, match="not in the ladder's folder any more"):
        taken(yard, 5)
