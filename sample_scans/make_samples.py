"""Make the three sample scans and their cards anew: `python sample_scans/make_samples.py` from the clone's root.

The logs are invented, and so is the mill that owns them. What is true of each stands in tests/truth/samples.py, with
the seed; the files come out the same each time.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))

from truth.samples import NAMES, arms, from_left_and_top, sample_scan, sample_truth  # noqa: E402
from truth.scans import Scan, girth, write_binary_ply  # noqa: E402

STORY = {
    "af-07": ("Nearly straight, the pith well off the centre.", "2026-02-11", 420, "+z"),
    "af-12": ("Swept and oval, with a flared butt and one branch stub.", "2026-02-18", 610, "+z"),
    "af-15": ("Slim and short; this scan's vertical is +y, as many phone apps write it.", "2026-03-03", 95, "+y"),
}


def _mm(value: float) -> str:
    return f'"{round(value)} mm"'


def _xyz(point) -> str:
    return "{ xyz = [" + ", ".join(f"{v:.4f}" for v in point) + "] }"


def _pith(name: str, scan: Scan) -> str:
    """Each card shows another way to tell where the pith is."""
    log = sample_truth(name)
    if name == "af-07":
        return (
            "# The pith on each end, picked in the scan: x, y, z in the scan's own coordinates (here metres).\n"
            f"butt = {_xyz(scan.pith_butt)}\ntop = {_xyz(scan.pith_top)}"
        )
    if name == "af-12":
        lines = ["# The pith by the arms of the plumb-and-level cross: pith to bark, facing that end."]
        for end in ("butt", "top"):
            lines.append(f"{end} = {{ " + ", ".join(f"{k} = {_mm(v)}" for k, v in arms(log, end).items()) + " }")
        return "\n".join(lines)
    lines = [
        "# The pith by tape on each end face, facing it: from the leftmost and the topmost point over bark,",
        "# with the 12 o'clock line upright.",
    ]
    for end in ("butt", "top"):
        left, top = from_left_and_top(log, end)
        lines.append(f"{end} = {{ from_left = {_mm(left)}, from_top = {_mm(top)} }}")
    return "\n".join(lines)


def card(name: str, scan: Scan) -> str:
    """The commented log card of one sample."""
    log = sample_truth(name)
    story, felled, cost, up = STORY[name]
    bark = (
        f'[bark]\nthickness = "{log.bark:g} mm"            # probed with a bark gauge; under bark is what counts\n\n'
        if name != "af-15"
        else "# No [bark] table: pithline then uses the species' stated relation and says so.\n\n"
    )
    # the scan says which end is the butt only by its pith marks or its girth: marks by tape or arms need it said
    direction = log_direction(scan)
    butt = "" if name == "af-07" else f'butt = "{direction}"                  # at which end of the log\'s axis\n'
    return f"""# {story} An invented log in the yard of an invented mill, Alder Fold.
# Copy this card for a log of your own: every length is text with a unit, "12 1/2 in", "320 mm" or "0.32 m".

[log]
id = "{name}"
species = "black walnut"
scan = "{name}.ply"               # beside this card
scan_units = "m"
up = "{up}"                     # which way of the scan is plumb upwards
{butt}felled = {felled}
cost = {cost}                     # what the log cost, in your money

[ends]
trim_butt = "{log.trim_butt:g} mm"           # checked or dirty wood at the ends that no plate may hold
trim_top = "{log.trim_top:g} mm"

{bark}[sapwood]
thickness = "{log.sapwood:g} mm"

[tape]                            # by tape, against a scan out of scale; girths over bark, 100 mm in from the end
length = {_mm(log.length)}
girth_butt = {_mm(girth(log, 100.0))}
girth_top = {_mm(girth(log, log.length - 100.0))}

[pith]
radius = "{log.pith_radius:g} mm"              # no plate comes nearer to the pith than this
{_pith(name, scan)}
"""


def log_direction(scan: Scan) -> str:
    """Which end, along the scan axis nearest the log, is the butt: "min" or "max"."""
    axis = scan.truth_to_scan[:3, 0]
    return "min" if axis[abs(axis).argmax()] > 0 else "max"


def main() -> None:
    """Write cards and scans beside this file."""
    for name in NAMES:
        scan = sample_scan(name)
        write_binary_ply(HERE / f"{name}.ply", scan.points, "an invented log, made by make_samples.py")
        (HERE / f"{name}.toml").write_text(card(name, scan), encoding="utf-8")


if __name__ == "__main__":
    main()
