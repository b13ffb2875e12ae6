"""A yard to open: a log with a plan made by hand, a scan that is no log, and a server over both."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

import pithline

HERE = Path(__file__).parent
SCRIPT = HERE / "written" / "small-log.cut-script.json"
SAMPLES = HERE.parent / "sample_scans"
PHONE, TABLET, DESK = {"width": 390, "height": 844}, {"width": 820, "height": 1180}, {"width": 1280, "height": 860}
LONG = 120_000
"""A fit on a machine that others use too. [ms]"""
CARD = """\
# An invented log.
[log]
id = "small"
species = "black walnut"   # as the bark says

[bark]
# thickness = "15 mm"      # gauged at both ends

[pith]
radius = "15 mm"
"""


def make_yard(root: Path) -> Path:
    """A folder with a planned log."""
    (root / "small" / "plan-1").mkdir(parents=True)
    (root / "small.toml").write_text(CARD, encoding="utf-8")
    shutil.copy(SCRIPT, root / "small" / "plan-1" / "cut-script.json")
    return root


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(root: Path, port: int, *more: str) -> subprocess.Popen[bytes]:
    """The command itself, as a process of its own."""
    package = str(Path(pithline.__file__).parent.parent)
    environment = {**os.environ, "PYTHONPATH": package, "OMP_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}
    for name in ("NICEGUI_SCREEN_TEST_PORT", "PYTEST_CURRENT_TEST"):
        environment.pop(name, None)
    command = [sys.executable, "-m", "pithline.cli.main", "open", str(root), "--no-browser", "--port", str(port), *more]
    log = (root / "server.log").open("ab")
    with log:
        process = subprocess.Popen(command, stdout=log, stderr=log, env=environment)
    for _ in range(240):
        if process.poll() is not None:
            raise RuntimeError((root / "server.log").read_text())
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/shed-files/pith.svg", timeout=5).read()
            return process
        except urllib.error.HTTPError:
            return process  # it answers, if only to refuse
        except OSError:
            time.sleep(0.25)
    process.kill()
    raise RuntimeError("the server did not answer within a minute")


def stop(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(20)


def ready(page: Any, path: str) -> None:
    """Open a page of the yard, and wait until its head is there."""
    page.goto(page.base + path)
    page.wait_for_selector("h1")


_QUIET = """async () => {
  const still = 250, begun = performance.now();
  let last = begun;
  const watch = new MutationObserver(() => { last = performance.now(); });
  watch.observe(document, {subtree: true, childList: true, attributes: true, characterData: true});
  const moving = () => document.getAnimations().some((one) => one.playState === 'running');
  const linked = () => window.did_handshake !== false;
  await document.fonts.ready;
  while (performance.now() - last < still || document.readyState !== 'complete' || moving() || !linked()) {
    if (performance.now() - begun > 30000) throw new Error('the page does not come to rest');
    await new Promise((go) => setTimeout(go, 25));
  }
  watch.disconnect();
}"""


def settled(page: Any) -> None:
    """Wait until the page speaks with its server, and nothing of it has changed or moved for a quarter of a second."""
    page.evaluate(_QUIET)


def sized(page: Any, size: dict[str, int]) -> None:
    """Give a settled page another size, and wait until it has settled in that."""
    if page.viewport_size != size:
        page.set_viewport_size(size)
        settled(page)
