"""Same inputs, same bytes: in one process, and in another with other hashing and other threads. And what the script adds up to."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pithline.script.document import dumps
from pithline.script.pieces import saw
from small_plan import TRUTH, small_plan
from truth.judge import judge

TESTS = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def script():
    return small_plan()


def test_another_process_writes_the_same_bytes(script):
    path = os.pathsep.join([str(TESTS), *filter(None, [os.environ.get("PYTHONPATH")])])
    environment = {**os.environ, "PYTHONHASHSEED": "77", "NUMBA_NUM_THREADS": "2", "PYTHONPATH": path}
    done = subprocess.run(
        [sys.executable, str(TESTS / "small_plan.py")], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == hashlib.sha256(dumps(script)).hexdigest()


def test_kerf_and_pieces_make_the_log(script):
    """Kerf summed cut by cut from the solids, not from what is left."""
    sawn = saw(script)
    assert sawn.findings == []
    totals = script["totals"]
    assert sawn.kerf_volume == pytest.approx(totals["kerf_volume"], rel=2e-3)
    left = sum(sawn.volumes[name] for name in sawn.leaves())
    assert left + sawn.kerf_volume == pytest.approx(totals["log_volume"], rel=1e-4)
    passing = {plate["id"] for plate in script["plates"] if plate["passes"]}
    assert passing <= set(sawn.leaves())
    offcuts = left - sum(sawn.volumes[name] for name in passing)
    assert offcuts == pytest.approx(totals["offcut_volume"], rel=1e-4)


def test_a_perfect_model_keeps_every_plate(script):
    """Fitted without error, the true log gives all that was claimed."""
    verdict = judge(script, TRUTH)
    assert verdict.hard == ()
    assert verdict.claimed_volume > 1e6 and verdict.ratio == 1.0
