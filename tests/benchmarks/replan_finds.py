"""What planning anew is worth over many kinds of finds: generated logs that hide something, planned, opened, planned anew.

From the clone's root, in a folder of your choice (here `runs`):

    python tests/benchmarks/replan_finds.py plan runs
    python tests/benchmarks/replan_finds.py anew runs
    python tests/benchmarks/replan_finds.py table runs

Each case is a log that its card does not know whole: its pith bows, a knot or rot hides in it, its bark is thicker. It is planned by
the command; after a cut what shows is written down, read a little off as people read, and the rest is planned anew. Both scripts are
judged on the true log, cuts where they were made: litres, sets and what they sell for, sawn by the first plan to the end and by the
new one. A set holds where all its plates do. History is held against the first script: no piece, mark or plate that was sawn may
change or go missing.
"""

from __future__ import annotations

import argparse
import json
import resource
import shlex
import subprocess
import sys
import time
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from replan_cases import CASES, Case, scanned

from truth.judge import Verdict, judge
from truth.logs import TrueDefect, TrueLog
from truth.scans import Scan, card_text, write_binary_ply

READ = 2.0
"""Error of reading a place on a face, each way. [mm]"""
READ_CLOCK = 3.0
"""Error of reading a clock angle. [degrees]"""


def plan(case: Case, folder: Path) -> None:
    """Card, scan and the first plan."""
    log, scan = scanned(case)
    folder.mkdir(parents=True, exist_ok=True)
    write_binary_ply(folder / "log.ply", scan.points)
    stated = replace(log, bark=log.bark - 4.0) if "bark" in case.finds else log
    (folder / "log.toml").write_text(card_text(stated, scan, "log.ply"), encoding="utf-8")
    print(case.name, told(folder / "plan", "plan", str(folder / "log.toml"), *shlex.split(case.plan)), flush=True)


def told(out: Path, *arguments: str) -> str:
    """Run the command; its seconds of both kinds, or its last line of error. What it prints stands beside its folder."""
    start, spent = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    words = [sys.executable, "-m", "pithline.cli.main", *arguments, "--effort", "coarse", "--out", str(out)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - spent.ru_utime - spent.ru_stime
    took = f"{time.perf_counter() - start:.0f} s, {cpu:.0f} CPU s"
    out.with_suffix(".txt").write_text(f"{done.stdout}\n---\n{done.stderr}\n{took}\n", encoding="utf-8")
    if done.returncode:
        return "REFUSED " + (done.stderr.strip().splitlines() or ["no word"])[-1]
    return took


def cut_at(script: dict, moment: str) -> str | None:
    """The last cut that is sawn at a moment."""
    kinds = {one["id"]: one["kind"] for one in script["pieces"]}
    settings = {one["id"]: one for one in script["operations"] if one["op"] == "setting"}
    cuts = [one for one in script["operations"] if one["op"] == "cut"]

    def of(tool: tuple[str, ...], kind: tuple[str, ...]) -> list[dict]:
        return [
            one
            for one in cuts
            if settings[one["setting"]]["tool"] in tool and kinds[settings[one["setting"]]["piece"]] in kind
        ]

    milled = of(("mill",), ("log", "half", "bolt"))
    places = {
        "bucked": (of(("buck",), ("log",)) + milled[:1])[-1:],
        "first": milled[:1],
        "second": milled[1:2],
        "halves": of(("mill",), ("half",)),
        "bolts": of(("mill", "resaw"), ("bolt",)),
        "shop": [one for one in cuts if settings[one["setting"]]["tool"] in ("rip", "crosscut")],
        "dried": [one for one in cuts if settings[one["setting"]].get("stage") == "dried"],
    }[moment]
    return places[len(places) // 2]["id"] if places else None


def pieces_in_hand(script: dict, after: str) -> dict[str, dict]:
    """The pieces that exist after a cut."""
    out: dict[str, dict] = {}
    pieces = {one["id"]: one for one in script["pieces"]}
    for one in script["operations"]:
        if one["op"] == "cut":
            out.pop(one["piece"], None)
            out |= {one[side]: pieces[one[side]] for side in ("above", "below")}
            if one["id"] == after:
                break
    return out


@dataclass
class Finds:
    """What is written down after a cut: the file's text, cuts moved by so much, pieces lost."""

    text: str
    moved: dict[str, float]
    spoilt: set[str]


def found(case: Case, script: dict, after: str, log: TrueLog, scan: Scan) -> Finds:
    """What shows after a cut."""
    rng = np.random.default_rng([case.seed, 4])
    to_log = np.array(script["log"]["scan_to_log"], float) @ scan.truth_to_scan
    own, lines = Finds("", {}, set()), []
    if "pith" in case.finds:
        stations = script["model"]["stations"]
        for share in (0.25, 0.5, 0.75):
            x = np.array(share * log.length)
            at, *place = (to_log @ np.array([x, *log.pith(x), 1.0]))[:3]
            had = [np.interp(at, [one["x"] for one in stations], [one["pith"][i] for one in stations]) for i in (0, 1)]
            right, up = np.array([had[0] - place[0], place[1] - had[1]]) + rng.normal(0.0, READ, 2)
            lines.append(f'[[pith.seen]]\nx = "{at:.0f} mm"\nup = "{up:.1f} mm"\nright = "{right:.1f} mm"')
    if "ends" in case.finds:
        lines.append("[pith]")
        for end, (point, _) in zip(("butt", "top"), log.end_planes(), strict=True):
            place = scan.truth_to_scan @ np.append(point + np.append(0.0, rng.normal(0.0, READ, 2)), 1.0)
            lines.append(f"{end} = {{ xyz = [{', '.join(f'{v:.6f}' for v in place[:3])}] }}")
    for one in log.defects:
        lines.append(defect_text(one, log, to_log, rng))
    if "bark" in case.finds:
        lines.append(f'[bark]\nthickness = "{log.bark:.0f} mm"')
    if "sapwood" in case.finds:
        lines.append(f'[sapwood]\nthickness = "{log.sapwood:.0f} mm"')
    hand = pieces_in_hand(script, after)
    slabs = [one for one in hand.values() if one["kind"] == "slab"]
    if "spoilt" in case.finds:
        lost = [one for one in hand.values() if one["kind"] in ("slab", "billet")][-1:]
        own.spoilt = {one["id"] for one in lost}
        lines += [f'[[piece]]\nid = "{one["mark"]}"\nspoilt = true' for one in lost]
    cuts = [one for one in script["operations"] if one["op"] == "cut"]
    done = cuts[: next(i for i, one in enumerate(cuts) if one["id"] == after) + 1]
    if "cut" in case.finds:
        last = next((one for one in reversed(done) if "from_mark" in one), None)
        if last is not None:
            own.moved[last["id"]] = -3.0
            number = last["id"].split("-")[1]
            lines.append(f'[[cut]]\nid = {number}\nfrom_mark = "{last["from_mark"] - 3.0:.1f} mm"')
    if "thickness" in case.finds:
        made = {one[side]: one for one in done for side in ("above", "below")}
        for one in slabs[-1:]:
            lines.append(f'[[piece]]\nid = "{one["mark"]}"\nthickness = "{thickness(script, one["id"]) - 2.0:.1f} mm"')
            own.moved[made[one["id"]]["id"]] = 2.0 if made[one["id"]]["above"] == one["id"] else -2.0
    own.text = "\n\n".join(lines) + "\n"
    return own


def thickness(script: dict, slab: str) -> float:
    """Of a slab, between its two newest facing cuts. [mm]"""
    parents = {one[s]: one for one in script["operations"] if one["op"] == "cut" for s in ("above", "below")}
    cut = parents[slab]
    n = np.array(cut["normal"])
    up = cut["above"] == slab
    name = cut["piece"]
    while name in parents:
        other = parents[name]
        lean = float(np.array(other["normal"]) @ n)
        if abs(lean) > 0.999 and (other["below"] == name) == up:
            return abs(other["offset"] * np.sign(lean) - cut["offset"]) - cut["kerf"] / 2 - other["kerf"] / 2
        name = other["piece"]
    raise SystemExit(f"{slab} has one face only")


def defect_text(one: TrueDefect, log: TrueLog, to_log: np.ndarray, rng: np.random.Generator) -> str:
    """A defect as someone reads it on a face."""
    lines = [f'[[defect]]\nkind = "{one.kind}"']
    if one.x is not None:
        at = float((to_log @ np.array([one.x, *log.pith(np.array(one.x)), 1.0]))[0])
        lines.append(f'x = "{at + rng.normal(0.0, READ):.0f} mm"')
    if one.end is not None:
        lines.append(f'end = "{one.end}"')
    if one.clock is not None:
        e = to_log[:3, :3] @ np.array([0.0, -np.sin(one.clock), np.cos(one.clock)])
        clock = np.degrees(np.arctan2(-e[1], e[2])) + rng.normal(0.0, READ_CLOCK)
        lines.append(f"clock_deg = {clock % 360.0:.0f}")
    for key in ("diameter", "length", "depth"):
        if getattr(one, key) is not None:
            lines.append(f'{key} = "{getattr(one, key):.0f} mm"')
    if one.margin:
        lines.append(f'margin = "{one.margin:.0f} mm"')
    return "\n".join(lines)


def went_on(script: dict, own: Finds) -> dict:
    """The first script as sawn to its end: cuts where they were made, nothing of what was spoilt."""
    out, lost = deepcopy(script), set(own.spoilt)
    for one in out["operations"]:
        if one["op"] != "cut":
            continue
        if one["id"] in own.moved:
            one["offset"] += own.moved[one["id"]]
        if one["piece"] in lost:
            lost |= {one["above"], one["below"]}
    for one in out["plates"]:
        one["passes"] = one["passes"] and one["id"] not in lost
    return out


def holding(script: dict, verdict: Verdict) -> tuple[float, int, float]:
    """Litres that truly hold; sets of which all plates do; their price, with other plates that hold at what they sell for loose."""
    off = {one.where for one in verdict.hard}
    good = {one.id: one.volume for one in verdict.plates if one.claimed and not one.lost and one.id not in off}
    by_set: dict[str, list[dict]] = {}
    for one in script["plates"]:
        if one["passes"] and one["set_id"]:
            by_set.setdefault(one["set_id"], []).append(one)
    whole = [plates for plates in by_set.values() if all(one["id"] in good for one in plates)]
    products = script["inputs"]["products"]["product"]
    prices = {one["name"]: one.get("price", 0.0) for one in products}
    loose = {
        (one["name"], part["name"]): part.get("loose_price", 0.0) / (2 if part.get("bookmatched") else 1)
        for one in products
        for part in one["part"]
    }
    sold = {one["id"] for plates in whole for one in plates}
    beside = 0.0
    for one in products:
        for part in one["part"]:
            key = one["name"], part["name"]
            own = [
                each["id"] for each in script["plates"] if (each["product"], each["part"]) == key and each["id"] in good
            ]
            left = len(own) - len(sold.intersection(own))
            wanted = one.get("demand", np.inf) * part["count"] - (len(own) - left)
            beside += loose[key] * min(left, max(wanted, 0.0))
    return sum(good.values()) / 1e6, len(whole), sum(prices[plates[0]["product"]] for plates in whole) + beside


def read(folder: Path) -> dict | None:
    """The cut script of a plan's folder; None where there is none."""
    path = folder / "cut-script.json"
    return json.loads(path.read_text(encoding="utf-8")) if path.exists() else None


def history_faults(old: dict, new: dict, after: str, own: Finds) -> list[str]:
    """What the new script tells otherwise of what was sawn."""
    out = []
    past = []
    for script in (old, new):
        cuts = [one for one in script["operations"] if one["op"] == "cut"]
        past.append(cuts[: next(i for i, one in enumerate(cuts) if one["id"] == after) + 1])
    for one, other in zip(*past, strict=False):
        by = own.moved.get(one["id"], 0.0)
        if (one["id"], one["piece"], one["above"], one["below"]) != tuple(
            other[k] for k in ("id", "piece", "above", "below")
        ):
            out.append(f"{one['id']} is another cut")
        elif abs(other["offset"] - one["offset"] - by) > 0.02 and not own.moved:
            out.append(f"{one['id']} moved by {other['offset'] - one['offset']:.2f}")
    marks = {one["id"]: one["mark"] for one in new["pieces"]}
    made = {one[side] for one in past[0] for side in ("above", "below")}
    out += [
        f"{one['id']} {one['mark']} is {marks.get(one['id'])}"
        for one in old["pieces"]
        if one["id"] in made and marks.get(one["id"]) != one["mark"]
    ]
    now = {one["id"]: one for one in new["plates"]}
    relabelled = set(new["replan"]["relabelled"])
    for one in old["plates"]:
        if one["id"] not in made or one["id"] in own.spoilt:
            continue
        if one["id"] not in now:
            out.append(f"plate {one['id']} is gone")
            continue
        other = now[one["id"]]
        changed = (one["passes"], one["set_id"]) != (other["passes"], other["set_id"])
        if changed and one["id"] not in relabelled:
            out.append(f"plate {one['id']} changed in silence")
    return out


def anew(case: Case, folder: Path) -> None:
    """Plan anew after each moment of a case."""
    log, scan = scanned(case)
    script = read(folder / "plan")
    if script is None:
        return
    for moment in case.moments:
        out, after = folder / moment, cut_at(script, moment)
        if after is None:
            print(case.name, moment, "no such cut", flush=True)
            continue
        if read(out) is not None:
            continue
        path = folder / f"{moment}.toml"
        path.write_text(found(case, script, after, log, scan).text, encoding="utf-8")
        took = told(out, "replan", str(folder / "plan" / "cut-script.json"), "--after", after, "--found", str(path))
        print(case.name, moment, after, took, flush=True)


def table(case: Case, folder: Path) -> None:
    """A row a moment."""
    log, scan = scanned(case)
    old = read(folder / "plan")
    for moment in case.moments if old is not None else ():
        new, after = read(folder / moment), cut_at(old, moment)
        if new is None:
            continue
        own = found(case, old, after, log, scan)
        on = went_on(old, own)
        first, second = (judge(one, log, scan.truth_to_scan) for one in (on, new))
        a, b = holding(on, first), holding(new, second)
        took = (folder / f"{moment}.txt").read_text().strip().splitlines()[-1]
        rows = [
            f"claimed {verdict.claimed_volume / 1e6:6.2f} true {held[0]:6.2f} L {held[1]:3d} sets {held[2]:6.0f}"
            for verdict, held in ((first, a), (second, b))
        ]
        head = f"{case.name:14} {moment:7} {after:8} {','.join(case.finds):14}"
        print(f"{head} {' | '.join(rows)} | hard {len(second.hard)} {took}, {new['proof']['status']}", flush=True)
        for one in [
            *(f"  hard {b.what} {b.where} {b.much:.2f} {b.words}" for b in second.hard),
            *history_faults(old, new, after, own),
        ]:
            print("   ", one, flush=True)


def main() -> None:
    """Plan, plan anew, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("plan", "anew", "table"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="+", default=[], help="names of cases, such as round-9601")
    chosen = parser.parse_args()
    for case in CASES:
        if chosen.only and case.name not in chosen.only:
            continue
        {"plan": plan, "anew": anew, "table": table}[chosen.what](case, chosen.folder / case.name)


if __name__ == "__main__":
    main()
