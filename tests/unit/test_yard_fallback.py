"""A layout that does not hold on replay is set aside for the next best; only where none holds is the plan refused."""

import pytest

from pithline.errors import ScriptError
from pithline.plan.api import COARSE, Monitor
from pithline.yard import one_log
from pithline.yard.one_log import plan_model
from pithline.yard.request import Request, read_inputs
from truth.logs import TrueLog
from truth.models import to_model

LOG = TrueLog("small", 700.0, 170.0, taper=6.0, bark=8.0)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("card")
    (folder / "small.ply").write_bytes(b"not read: the model is given")
    (folder / "small.toml").write_text(
        '[log]\nid = "small"\nspecies = "black walnut"\nscan = "small.ply"\n[bark]\nthickness = "8 mm"\n'
    )
    return read_inputs(folder / "small.toml")


def test_the_next_layout_is_taken(inputs, monkeypatch):
    real, asked = one_log.must_hold, []

    def first_fails(script):
        asked.append(script)
        if len(asked) == 1:
            raise ScriptError("the plan does not hold on replay and is not written")
        real(script)

    monkeypatch.setattr(one_log, "must_hold", first_fails)
    said: list[str] = []
    script = plan_model(
        to_model(LOG), inputs, Request(effort=COARSE, samples=2), Monitor(lambda what, part: said.append(what))
    )
    assert len(asked) == 2
    assert script is asked[1]
    assert any("did not hold on replay" in caution for caution in script["cautions"])
    with_best = [what for what in said if "best so far" in what]
    assert said.index(with_best[0]) == said.index("practice layout") + 1  # before the search begins
    assert any(", at most " in what for what in with_best)


def test_where_none_holds_the_first_fault_is_told(inputs, monkeypatch):
    def none_holds(script):
        raise ScriptError(f"no: {script['operations'][0]['id']}")

    monkeypatch.setattr(one_log, "must_hold", none_holds)
    with pytest.raises(ScriptError, match="no: "):
        plan_model(to_model(LOG), inputs, Request(effort=COARSE, samples=2))
