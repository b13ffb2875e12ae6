"""The ladder: what plans of fewer or more set-ups bring, each a row with its bar, and what one more hour earns."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from reportlab.platypus import Flowable, Table

from pithline.outputs.cut_script.document import CutScript, Rung, Totals
from pithline.outputs.formatting import count, sentence
from pithline.outputs.pdf.flow import Drawing, Prose, heading, markup, paragraph, shares, style
from pithline.outputs.pdf.page import measure_of
from pithline.outputs.pdf.pen import Pen
from pithline.outputs.print_job import PrintJob
from pithline.outputs.results import Results, litres_in_words, money_in_words, results_of_totals, sets_in_words

SIZE = 9.0
"""Type of the rows. [pt]"""
TALL = 6.0
"""Height of a bar. [pt]"""
LEAST_HOURS = 0.05
"""Plans nearer than this in time take the same time. [h]"""
TITLES = {
    "practice layout kept": "customary cuts, filled for sets",
    "bolts left": "bolts left whole",
    "all cradles": "bolts in every cradle",
    "any angle": "bolts at any angle",
}
"""How the sheet says what a script calls a class of plans."""
ONE_CRADLE = re.compile(r"cradle (\S+°)")


class _Bar(Drawing):
    """The share of the best, dark where it is this plan."""

    def __init__(self, width: float, share: float, chosen: bool) -> None:
        super().__init__(width, TALL)
        self.share, self.chosen = share, chosen

    def sketch(self, pen: Pen) -> None:
        """A bar."""
        pen.box((0.0, 0.0), self.width * self.share, TALL, 0.6, gray=0.45 if self.chosen else 0.85)


class Step(NamedTuple):
    """A row of the ladder: its name, what it brings, what each hour more than the row before earns, the customary way beside it."""

    name: str
    own: Results
    more: float | None
    customary: Results | None
    chosen: bool


def steps_of(script: CutScript) -> list[Step]:
    """The rows, from the least work to the most; none where there is but one plan."""
    rungs = script.rungs
    if len(rungs) < 2:
        return []
    found = [_likely(script, rung) for rung in rungs]
    customary = [_results(script, rung.practice) if rung.practice else None for rung in rungs]
    return [
        Step(rung_title(rung.title), one, _one_more_hour(one, before), beside, rung.chosen)
        for rung, one, before, beside in zip(rungs, found, [None, *found[:-1]], customary, strict=True)
    ]


def rung_title(title: str) -> str:
    """A class of plans in words of the mill."""
    cradle = ONE_CRADLE.fullmatch(title)
    return f"bolts in the {cradle[1]} cradle" if cradle else TITLES.get(title, title)


def ladder(job: PrintJob, size: float = SIZE) -> list[Flowable]:
    """The ladder of plans; nothing where there is but one."""
    steps = steps_of(job.log.script)
    if not steps:
        return []
    width, most = measure_of(job.paper), max(_worth(one.own) for one in steps) or 1.0
    columns = _columns(job, steps)
    widths = shares(width, 19, *(share for _, share, _ in columns))
    head = [Prose(markup(text), style(size * 0.9, True)) for text in ("plan", *(name for name, _, _ in columns))]
    rows: list[list[object]] = [list(head)]
    for place, one in enumerate(steps):
        name = Prose(markup(_name(one)), style(size, one.chosen))
        cells = [Prose(markup(texts[place]), style(size, one.chosen)) for _, _, texts in columns]
        rows.append([[name, _Bar(widths[0] - 8.0, _worth(one.own) / most, one.chosen)], *cells])
    made = Table(rows, colWidths=widths, hAlign="LEFT", spaceAfter=3.0, style=[
        ("GRID", (0, 0), (-1, -1), 0.5, "black"), ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3.0), ("RIGHTPADDING", (0, 0), (-1, -1), 3.0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 3.0),
    ])  # fmt: skip
    notes = [paragraph(note, size) for note in _notes(job, steps)]
    return [*heading("Fewer set-ups, more set-ups: what each plan brings", 12.0, 40.0), made, *notes]


def rung_words(job: PrintJob) -> list[str]:
    """Every rung in a sentence, what all of them share said once at the end; empty where there is but one."""
    steps = steps_of(job.log.script)
    texts = [f"{_name(one)}: {_second(job, one, _differing(steps, one))}" for one in steps]
    return [*texts, *_notes(job, steps)] if steps else []


def _columns(job: PrintJob, steps: Sequence[Step]) -> list[tuple[str, float, list[str]]]:
    """Columns after the first: head, share of the width, a text a row; money's left out where none is known."""
    fmt, currency = job.fmt, job.log.script.inputs.products.currency
    unit = fmt.volume(0.0).partition(" ")[2]
    litres = [(fmt.volume(one.own.volume), litres_in_words(one.own.set_volume, fmt)) for one in steps]
    columns = [
        ("sets", 34.0, [sets_in_words(_differing(steps, one)) for one in steps]),
        ("set-ups", 10.5, [f"{one.own.set_ups}" for one in steps]),
        ("hours", 7.5, [f"{one.own.hours:.1f}" for one in steps]),
        (f"{unit} in all", 8.5, [volume.partition(" ")[0] for volume, _ in litres]),
        (f"{unit} in sets", 8.5, [in_sets.partition(" ")[0] for _, in_sets in litres]),
    ]
    money = any(one.own.earnings is not None for one in steps)
    if money:
        columns += [
            ("earns", 9.0, [money_in_words(one.own.earnings, currency) for one in steps]),
            ("an hour more brings", 10.0, [money_in_words(one.more, currency) for one in steps]),
        ]
    if not _one_practice(steps) and all(one.customary for one in steps):
        columns.append(("customary way", 13.0 if money else 22.0, [_customary(one, currency) for one in steps]))
    return columns


def _notes(job: PrintJob, steps: Sequence[Step]) -> list[str]:
    """What all rows share: the sets that each brings, and the customary way where it is the same beside each."""
    common, notes = _common(steps), []
    if common:
        alike = replace(
            steps[0].own, sets=_kept(steps[0].own.sets, common), singles=_kept(steps[0].own.singles, common)
        )
        notes.append(f"Each brings {sets_in_words(alike)} besides.")
    if _one_practice(steps) and steps[0].customary is not None:
        customary, currency = steps[0].customary, job.log.script.inputs.products.currency
        money = "" if customary.earnings is None else f", {money_in_words(customary.earnings, currency)}"
        notes.append(f"Customary way beside each: {sets_in_words(customary)}{money}.")
    return notes


def _one_practice(steps: Sequence[Step]) -> bool:
    return len({(one.customary.volume, one.customary.hours) for one in steps if one.customary}) == 1


def _customary(one: Step, currency: str) -> str:
    """The customary way in its fewest words."""
    if one.customary is None:
        return "–"
    return (
        sets_in_words(one.customary)
        if one.customary.earnings is None
        else money_in_words(one.customary.earnings, currency)
    )


def _common(steps: Sequence[Step]) -> frozenset[str]:
    """The products of which every plan brings as many, where some differ."""
    brought = [{**one.own.sets, **one.own.singles} for one in steps]
    alike = frozenset(name for name, number in brought[0].items() if all(one.get(name) == number for one in brought))
    return alike if any(set(one) - alike for one in brought) else frozenset()


def _differing(steps: Sequence[Step], one: Step) -> Results:
    """What a plan brings beyond what all of them do."""
    common = _common(steps)
    own = replace(one.own, sets=_less(one.own.sets, common), singles=_less(one.own.singles, common))
    return own if own.sets or own.singles else one.own


def _kept(made: Mapping[str, int], names: frozenset[str]) -> dict[str, int]:
    return {name: number for name, number in made.items() if name in names}


def _less(made: Mapping[str, int], names: frozenset[str]) -> dict[str, int]:
    return {name: number for name, number in made.items() if name not in names}


def _likely(script: CutScript, rung: Rung) -> Results:
    """What a rung brings, its earnings the likely ones where the script tells them."""
    found = _results(script, rung.totals)
    return found if rung.likely_earnings is None else replace(found, earnings=rung.likely_earnings)


def _results(script: CutScript, totals: Totals) -> Results:
    return results_of_totals(totals, script.inputs.products, script.inputs.mill.hour_rate)


def _worth(one: Results) -> float:
    """What the bar shows: earnings where they are known, else volume."""
    return max(one.earnings, 0.0) if one.earnings is not None else one.volume


def _name(one: Step) -> str:
    name = f"this plan{', ' if one.name else ''}{one.name}" if one.chosen else one.name
    return sentence(name).removesuffix(".") if name else "another plan"


def _second(job: PrintJob, one: Step, brought: Results) -> str:
    """A rung's figures in one sentence."""
    fmt, currency, own = job.fmt, job.log.script.inputs.products.currency, one.own
    text = f"{sets_in_words(brought)}; {count(own.set_ups, 'set-up')}, {own.hours:.1f} h, {fmt.volume(own.volume)}"
    if own.set_volume is not None:
        text += f" ({litres_in_words(own.set_volume, fmt)} in sets)"
    if own.earnings is not None:
        text += f", earns {money_in_words(own.earnings, currency)}"
    if one.more is not None:
        text += f"; each hour more brings {money_in_words(one.more, currency)}"
    return text + "."


def _one_more_hour(one: Results, before: Results | None) -> float | None:
    """What each hour more than the plan before earns; `None` where there is no more, or no money."""
    if before is None or one.earnings is None or before.earnings is None or one.hours - before.hours < LEAST_HOURS:
        return None
    return (one.earnings - before.earnings) / (one.hours - before.hours)
