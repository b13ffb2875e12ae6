"""An earlier plan of the small log, planned anew after some of its cuts as the tests ask; searched coarsely."""

import copy
import functools
import json
from pathlib import Path

from pithline.script.document import dumps
from pithline.yard.replan_log import replan_log
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


def planned_anew(after, found=None, script=None, request=None):
    """The script after some cuts of the earlier one, as it is written."""
    script = script or earlier_script()
    before = copy.deepcopy(script)
    new = replan_log(script, after, found or {}, request or Request(effort=QUICK, samples=2))
    assert script == before
    return json.loads(dumps(new))


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
