"""How quickly the shed page answers while twenty pages are open and a log is planned.

python tests/benchmarks/shed_pages.py FOLDER           # a yard with a planned log; the plan is made anew meanwhile
python tests/benchmarks/shed_pages.py FOLDER --alone   # no page open beside it

Of each page: milliseconds until an answer is whole, and CPU milliseconds that the server spends on one answer. The latter is what an answer
takes where a core is free, whatever else the machine does; what open pages cost without being asked is taken off, and told first.
"""

import argparse
import os
import statistics
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import quote

from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs
from shed_yard import free_port, start, stop

PAGES, ASKED = 20, 15
OPENED = 7
"""So many of the paths are opened; turning a log by hand is an answer's work of its own."""
QUIET = 10.0
"""Seconds over which it is seen what open pages cost without being asked."""
CHROMIUM = "/usr/bin/chromium"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--alone", action="store_true")
    args = parser.parse_args()
    root = args.folder.resolve()
    yard = YardFolder(root)
    log = next(one for one in yard.logs() if one.plans and one.scan is not None)
    jobs, port = Jobs(yard), free_port()
    server = start(root, port)
    base, name, plan = f"http://127.0.0.1:{port}", quote(log.name, safe=""), quote(log.plans[0].name, safe="")
    paths = [
        "/",
        f"/log/{name}",
        f"/plans/{name}",
        f"/saw/{name}?plan={plan}",
        f"/good-for/{name}",
        "/appraisal",
        "/season",
        f"/what-if/{name}?plan={plan}",
        f"/scene/{name}/scene.bin",
        f"/sawing/{name}?plan={plan}",
    ]
    asked = {"objective": "sets", "effort": "coarse", "mill": "portable", "products": ["guitar"], "units": "mm"}
    for path in paths:  # what is made ready once, such as templates, is
        _asked(base + path)
    try:
        jobs.start("plan", log.name, asked, yard.next_plan(log.name))
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            for number in range(0 if args.alone else PAGES):
                browser.new_page().goto(base + paths[number % OPENED], wait_until="commit")
            time.sleep(5.0)
            began = _spent(server.pid)
            time.sleep(QUIET)
            idle = (_spent(server.pid) - began) / QUIET
            print(f"load {os.getloadavg()[0]:.1f}; {100.0 * idle:.0f} % of a core without being asked")
            for path in paths:
                began, at = _spent(server.pid), time.perf_counter()
                spans = sorted(_asked(base + path) for _ in range(ASKED))
                own = _spent(server.pid) - began - idle * (time.perf_counter() - at)
                print(
                    f"{path}: least {spans[0]:.0f}, middle {statistics.median(spans):.0f}, most {spans[-1]:.0f} ms; "
                    f"CPU {1000.0 * own / ASKED:.0f} ms"
                )
            print("the plan was being made throughout" if _goes_on(jobs, log.name) else "the plan ended before")
            browser.close()
    finally:
        jobs.stop("plan", log.name)
        stop(server)


def _goes_on(jobs: Jobs, log: str) -> bool:
    state = jobs.state("plan", log)
    return state is not None and state.alive


def _spent(pid: int) -> float:
    """CPU seconds of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _asked(address: str) -> float:
    """Milliseconds until a page is answered whole."""
    began = time.perf_counter()
    urllib.request.urlopen(address, timeout=60).read()
    return 1000.0 * (time.perf_counter() - began)


if __name__ == "__main__":
    main()
