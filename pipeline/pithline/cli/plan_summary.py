"""What the console says of a plan: what it brings beside the customary way, its ladder, its first setting, its limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pithline.cli.console import Console

if TYPE_CHECKING:
    from rich.table import Table

    from pithline.outputs.cut_script.document import CutScript
    from pithline.outputs.results import Results

Script = Mapping[str, Any]


def summary_of(script: Script) -> dict[str, Any]:
    """What a machine wants to know of a plan without reading the script: what it brings first."""
    first, *_ = first_settings(script)
    cuts = cuts_of(script, first)
    return {
        "log": script["log"]["id"],
        "totals": script["totals"],
        "practice": script["practice"],
        "uncertainty": script["uncertainty"],
        "proof": script["proof"],
        "first_setting": {
            "roll": first.get("roll"),
            "lifts": first.get("lifts"),
            "marks": first.get("marks"),
            "cuts": [{k: c.get(k) for k in ("id", "blade_height", "from_mark", "width")} for c in cuts],
        },
        "crosscuts": [cut["id"] for cut in script["operations"] if cut["op"] == "cut" and cut["tool"] == "buck"],
        "cautions": script["cautions"],
    }


def first_settings(script: Script) -> list[Script]:
    """The first setting on the mill of every log, whole or crosscut, in the order they are sawn."""
    logs = {piece["id"] for piece in script["pieces"] if piece["kind"] == "log"}
    out: dict[str, Script] = {}
    for each in script["operations"]:
        if each["op"] == "setting" and each["tool"] == "mill" and each["piece"] in logs:
            out.setdefault(each["piece"], each)
    return list(out.values())


def cuts_of(script: Script, setting: Script) -> list[Script]:
    """The cuts of one setting, from the top down."""
    return [each for each in script["operations"] if each["op"] == "cut" and each["setting"] == setting["id"]]


def show_plan(console: Console, script: Script) -> None:
    """The summary a sawyer reads: the log, what the plan brings, the ladder it stands on, how it begins."""
    from pithline.logmodel.model import length_doubt
    from pithline.outputs.cut_script.reader import read_cut_script
    from pithline.outputs.results import results_beside

    log = script["log"]
    off = length_doubt(script["model"].get("stderr_length", 0.0))
    console.show(
        f"{log['id']}: {log['species']}, {log['length']:.0f} ± {off:.0f} mm long, {log['diameter_butt']:.0f} mm across at the butt, "
        f"{log['diameter_top']:.0f} mm at the top over bark, {log['volume'] / 1e6:.0f} L under bark, sweep {log['sweep']:.0f} mm."
    )
    told = read_cut_script(script)
    show_results(console, told, results_beside(told))
    show_likely(console, script)
    _show_ladder(console, told)
    _show_locks(console, script)
    _show_beginning(console, script)
    show_limits(console, script)


def show_results(console: Console, script: CutScript, columns: Mapping[str, Results]) -> None:
    """The sheet's table of what several ways bring, by the heading of their column; products and prices are the script's."""
    from rich.table import Table

    from pithline.outputs.formatting import Formatter
    from pithline.outputs.results import results_rows

    table = Table("", *columns)
    for name, text in results_rows(script, Formatter()).items():
        table.add_row(name, *(text(each).replace("**", "") for each in columns.values()))
    console.show(table)


def show_likely(console: Console, script: Script) -> None:
    """What is likely of the plan, how it stands to the customary way, and what is proven of it."""
    known, practice, proof = script["uncertainty"], script["practice"], script["proof"]
    volume, words = known["instrument_volume"], []
    if "earnings" in known:
        money, currency = known["earnings"], str(script["inputs"]["products"].get("currency", ""))
        words.append(
            f"Likely {money['p50']:,.0f} {currency}".rstrip()
            + f"; four times in five between {money['p10']:,.0f} and {money['p90']:,.0f}, from what scan and card leave open."
        )
    words.append(
        f"Likely {volume['p50'] / 1e6:.1f} L in all; four times in five between {volume['p10'] / 1e6:.1f} and {volume['p90'] / 1e6:.1f} L."
    )
    if practice.get("ratio") is not None:
        words.append(
            f"Before work is charged {practice['ratio']:.2f} times the customary way"
            + (
                f", {practice['volume_ratio']:.2f} times by volume alone."
                if practice.get("volume_ratio") is not None
                else "."
            )
        )
    if proof.get("gap") is not None:
        words.append(f"At most {proof['gap']:.1%} short of the best layout of the kinds searched.")
    console.show(" ".join(words))


def _show_ladder(console: Console, script: CutScript) -> None:
    """Every plan of the ladder by rising work, and what each hour more brings; nothing where there is but one."""
    from pithline.outputs.results import money_in_words, sets_in_words
    from pithline.outputs.sheet.ladder import steps_of

    steps = steps_of(script)
    if not steps:
        return
    console.show("Fewer set-ups, more set-ups:")
    for number, one in enumerate(steps, start=1):
        more = "" if one.more is None else f", {one.more:+,.0f} each hour more"
        console.show(
            f"{'>' if one.chosen else ' '} {number}. {one.name}: {sets_in_words(one.own)}; {one.own.set_ups} set-ups, "
            f"{one.own.hours:.1f} h, earns {money_in_words(one.own.earnings, '')}{more}"
        )
    console.show(
        'The one marked > is this plan. The others are whole cut scripts in ladder/; print one by "pithline sheet".'
    )


def _show_locks(console: Console, script: Script) -> None:
    """What was held on the command line costs."""
    proof = script["proof"]
    if "locks" in proof:
        cost = proof["locks"]["cost"]
        text = f"{cost:.2f} in money" if proof.get("counts") == "money" else f"{cost / 1e6:.1f} L"
        console.show(f"What was held on the command line costs {text} on the search grid.")


def _show_beginning(console: Console, script: Script) -> None:
    """Crosscuts and the first setting of every log, with its cuts."""
    for buck in (each for each in script["operations"] if each["op"] == "setting" and each["tool"] == "buck"):
        places = ", ".join(f"{_from_butt(script, cut):.0f} mm" for cut in cuts_of(script, buck))
        console.show(f"Crosscut the log first, square to its pith, {places} from the butt end along the pith's chord.")
    firsts = first_settings(script)
    for first in firsts:
        lifts = ", ".join(f"{each['lift']:.0f} mm at the bunk at {each['bunk']:.0f}" for each in first["lifts"])
        mark = first["marks"]["butt"]["name"]
        whose = "" if len(firsts) == 1 and first["piece"] == "log" else f" of {first['piece']}"
        console.show(
            f"First setting{whose}: turn clock angle {round(first['roll'], 1) % 360.0:.1f}° up; lifts {lifts}; level both marks ({mark})."
        )
        console.show(_cut_table(cuts_of(script, first)))


def _cut_table(cuts: list[Script]) -> Table:
    from rich.table import Table

    table = Table("cut", "over the marks, mm", "blade height, mm", "width, mm")
    for cut in cuts:
        table.add_row(cut["id"], f"{cut['from_mark']:+.0f}", f"{cut['blade_height']:.0f}", f"{cut['width']:.0f}")
    return table


def show_limits(console: Console, script: Script) -> None:
    """The limits that plates were held to."""
    limits = script["inputs"]["products"]["limits"]
    words = "; ".join(
        _limit_words(name, limits[name]) for name in sorted({plate["limits"] for plate in script["plates"]})
    )
    console.show(f"Limits in force: {words}.")


def _limit_words(name: str, limits: Mapping[str, Any]) -> str:
    text = f"{name}: ring angle at least {limits['ring_angle_min_deg']:g}°, mean {limits['ring_angle_mean_deg']:g}°"
    if "ring_angle_max_deg" in limits:
        text += f", at most {limits['ring_angle_max_deg']:g}°"
    text += f", runout at most {limits['runout_max_deg']:g}°"
    if "slope_max_deg" in limits:
        text += f", slope in the face at most {limits['slope_max_deg']:g}°"
    return text


def _from_butt(script: Script, cut: Script) -> float:
    """Where a crosscut lies along its normal from the pith on the butt end. [mm]"""
    point = script["model"]["ends"]["butt"]["point"]
    return float(cut["offset"] - sum(a * b for a, b in zip(cut["normal"], point, strict=True)))
