"""An earlier plan of the small log, planned anew after some of its cuts as the tests ask; searched coarsely."""

import copy
import functools
import json
from pathlib import Path

import pytest

from pithline.script.check import replay_valid
from pithline.script.document import dumps
from pithline.script.replay import replay
from pithline.yard import finalise
from pithline.yard import replan_log as yard_replan
from pithline.yard.request import Request
from small_plan import QUICK

WRITTEN = Path(__file__).parent / "written" / "small-log.cut-script.json"
"""The small log's plan (`small_plan`) as an earlier search wrote it: a script outlives the search that it came from."""


@functools.cache
def _earlier() -> bytes:
    return WRITTEN.read_bytes()


def earlier_script():
    """The small log's plan as it was written."""
    return json.loads(_earlier())


def planned_anew(after, found=None, script=None):
    """The script after some cuts of the earlier one, as it is written; what several tests ask for is planned once."""
    written = _earlier() if script is None else json.dumps(script).encode()
    return json.loads(_planned_once(after, json.dumps(found or {}), written))


def planned_afresh(after, found=None, script=None):
    """As `planned_anew`, and planned whether or not it was before; the script's bytes."""
    script = earlier_script() if script is None else script
    before = copy.deepcopy(script)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(yard_replan, "replay_valid", _checked_once)
        patch.setattr(finalise, "replay", replayed)
        new = yard_replan.replan_log(script, after, found or {}, Request(effort=QUICK, samples=2))
    assert script == before
    return dumps(new)


@functools.lru_cache(64)
def _planned_once(after, found, written):
    return planned_afresh(after, json.loads(found), json.loads(written))


def _checked_once(script):
    """An earlier script is replayed before it is planned anew; the same one each time gives the same findings."""
    return _report_of(json.dumps(script))


@functools.lru_cache(64)
def _report_of(written):
    return replay_valid(json.loads(written))


def replayed(script, _sawing=None):
    """The replay of a script as it is written; one that was replayed before it was written out is not replayed again."""
    return _replay_of(dumps(script))


@functools.lru_cache(64)
def _replay_of(written):
    return replay(json.loads(written))


def operations_until(script, cut):
    """The operations up to and including a cut."""
    at = next(i for i, one in enumerate(script["operations"]) if one["id"] == cut)
    return script["operations"][: at + 1]


def solid_points(plate):
    """Points (n, 3) all through a plate's box."""
    import numpy as np

    grid = np.stack(np.meshgrid(*(np.linspace(0.0, 1.0, n) for n in (41, 13, 4)), indexing="ij"), axis=-1).reshape(
        -1, 3
    )
    return np.array(plate["corner"]) + grid @ np.array(plate["edges"])
