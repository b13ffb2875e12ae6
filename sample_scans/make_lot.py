"""Make the invented logs of sample_scans/lot anew: `python sample_scans/make_lot.py` from the clone's root.

A row of logs at an invented sale: two known by tape only, one scanned from one flank. Their truth comes from
tests/truth/logs.py by kind and seed; the files come out the same each time.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

import numpy as np  # noqa: E402

from truth.logs import TrueLog, true_log  # noqa: E402
from truth.samples import arms  # noqa: E402
from truth.scans import Yard, girth, simulate_scan, write_binary_ply  # noqa: E402

TAPED = {
    "row-21": (
        "round",
        13,
        420,
        "",
        "forest",
        "A straight log in a row: two ends and one flank to be seen, no time to scan.",
    ),
    "row-22": ("swept", 4, 260, "stain = true\n", "yard", "From a yard, stained dark at the ends, and it bows."),
}


def taped(name: str) -> str:
    """The card of a log known by its tape measures."""
    kind, seed, cost, more, grown, story = TAPED[name]
    log = replace(true_log(kind, seed), bark=22.0)
    lines = [
        f"# {story} An invented log at an invented sale.",
        f'[log]\nid = "{name}"\nspecies = "black walnut"\nfelled = 2026-01-20\ncost = {cost}\ngrown = "{grown}"',
        f'[ends]\ntrim_butt = "30 mm"\ntrim_top = "30 mm"\n{more}'.rstrip(),
        "# By tape, over bark, girths 100 mm in from the end; the string stands off the middle of the bark by the sweep.",
        f'[tape]\nlength = "{log.length:.0f} mm"\ngirth_butt = "{girth(log, 100.0):.0f} mm"\n'
        f'girth_top = "{girth(log, log.length - 100.0):.0f} mm"\n{sweep(log)}',
        "# Pith to bark along the plumb-and-level cross, facing that end.",
        '[pith]\nradius = "15 mm"',
    ]
    for end in ("butt", "top"):
        lines.append(f"{end} = {{ " + ", ".join(f'{k} = "{v:.0f} mm"' for k, v in arms(log, end).items()) + " }")
    return "\n".join(lines) + "\n"


def sweep(log: TrueLog) -> str:
    """What a string says of the bow."""
    return f'sweep = "{log.sweep:.0f} mm"\nsweep_clock_deg = {np.degrees(log.sweep_clock):.0f}'


def flank() -> str:
    """The card of a log that was scanned from one side, where it lay; writes its scan too."""
    log = replace(true_log("eccentric", 13), bark=18.0)
    scan = simulate_scan(log, 7, Yard(points=36_000, hidden_deg=185.0, ground=False, clutter=False))
    write_binary_ply(HERE / "lot" / "row-23.ply", scan.points, "an invented log, made by make_lot.py")
    marks = ["{ xyz = [" + ", ".join(f"{v:.4f}" for v in mark) + "] }" for mark in (scan.pith_butt, scan.pith_top)]
    return (
        "# One flank and two ends scanned, the pith off the centre. An invented log at an invented sale.\n"
        '[log]\nid = "row-23"\nspecies = "black walnut"\nscan = "row-23.ply"\nscan_units = "m"\nup = "+z"\n'
        'felled = 2026-02-10\ncost = 300\n[ends]\ntrim_butt = "25 mm"\ntrim_top = "25 mm"\n'
        f'[pith]\nradius = "15 mm"\nbutt = {marks[0]}\ntop = {marks[1]}\n'
    )


def main() -> None:
    """Write cards and scan."""
    for name in TAPED:
        (HERE / "lot" / f"{name}.toml").write_text(taped(name), encoding="utf-8")
    (HERE / "lot" / "row-23.toml").write_text(flank(), encoding="utf-8")


if __name__ == "__main__":
    main()
