"""Off the mill: bucking first, then rip, crosscut and resaw work gathered by slab and bolt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from shapely.geometry import Point

from pithline.outputs.paper import Pages
from pithline.outputs.reading import Script
from pithline.outputs.sheet.cautions import CHAIN, GUARDS, METAL, ROLL, ROUND, heavy
from pithline.outputs.sheet.fan import DRAWING, fan, slanted
from pithline.outputs.sheet.measured import (
    from_butt,
    from_fence,
    mill_setting_of,
    rip_distances,
    rip_reference,
    tick_name,
)
from pithline.outputs.sheet.schematics import buck_view, ways_of_lying
from pithline.outputs.sheet.slab_view import slab_view
from pithline.outputs.words import Words, degrees

SUPPORTS = {"fence": "against the fence", "cradle": "in a cradle", "v-blocks": "in V-blocks", "table": "on the table"}


def buck_panel(pages: Pages, reading: Script, words: Words, setting: Mapping[str, Any]) -> None:
    """Where the log is shortened, by tape along the pith's chord from the butt end."""
    pages.turn()
    pages.heading(f"Bucking: {reading.mark(setting['piece'])}")
    pages.text(f"{words.weight(setting['weight_kg'])}, lying in a cradle. Carry the 12 o'clock line along the "
               "bark past every cut before sawing, and mark the pith on the new faces as seen.", 11.0)  # fmt: skip
    cuts = [(str(reading.numbers[cut["id"]]), from_butt(reading, setting, cut)) for cut in reading.cuts_of(setting)]
    buck_view(pages, reading, words, setting, cuts)
    pages.caution(f"{heavy(setting['weight_kg'])} {ROLL}".strip())
    rows = [[name, words.both(along), f"{reading.mark(cut['below'])} | {reading.mark(cut['above'])}"]
            for (name, along), cut in zip(cuts, reading.cuts_of(setting), strict=True)]  # fmt: skip
    pages.table(["Cut", "From the butt end to the kerf's centre, along the log", "Butt side | top side"], rows,
                [10, 55, 35], 11.5)  # fmt: skip
    pages.caution(CHAIN)
    pages.caution(METAL)


def shop_panels(pages: Pages, reading: Script, words: Words, settings: Sequence[Mapping[str, Any]], title: str) -> None:
    """One panel for each slab, half or bolt that goes to the shop."""
    groups: dict[str, list[Mapping[str, Any]]] = {}
    for setting in settings:
        groups.setdefault(reading.from_mill(setting["piece"]), []).append(setting)
    if not groups:
        return
    pages.turn()
    pages.heading(title)
    pages.text("“Face 7” is the sawn face that cut 7 left. Distances from a face run to the near side of the kerf; "
               "lines from ticks, arris or butt end are the kerf's centre. Draw all lines of a row, then saw them in "
               "order. Left and right: facing the butt end.", 10.5)  # fmt: skip
    pages.text("Before a billet is resawn: a large V across its edge, point to the butt, so that its plates go back in "
               "order.", 10.5, bold=True)  # fmt: skip
    ways_of_lying(pages)
    pages.caution(GUARDS)
    pages.caution(ROUND)
    for piece, own in groups.items():
        _panel(pages, reading, words, piece, own)


def _panel(pages: Pages, reading: Script, words: Words, piece: str, settings: Sequence[Mapping[str, Any]]) -> None:
    kind = reading.pieces[piece]["kind"]
    weight = max(one["weight_kg"] for one in settings)
    fanned = any(slanted(one) for one in settings)
    pages.room(DRAWING + 60.0 if fanned else 200.0)
    count = reading.plates_in.get(piece, 0)
    plates = f"{count} plate" if count == 1 else f"{count} plates"
    pages.text(f"{kind.capitalize()} {reading.mark(piece)}: {words.weight(weight)}, {plates}, "
               f"{sum(one['minutes'] for one in settings):.0f} minutes", 14.0, bold=True)  # fmt: skip
    if words_of_weight := heavy(weight):
        pages.caution(words_of_weight)
    slab_view(pages, reading, piece, settings)
    if fanned:
        fan(pages, reading, words, piece, settings)
    rows = [_row(reading, words, setting) for setting in settings]
    pages.table(["Saw", "Lies; measured from", "Cut", "Where (butt | top)", "Gives"], rows, [15, 29, 7, 25, 24], 9.0)


def _row(reading: Script, words: Words, setting: Mapping[str, Any]) -> list[str]:
    """A setting as a row; its cuts are lines of the last three cells, each on one line."""
    cuts = reading.cuts_of(setting)
    lies, places = bench(reading, words, setting)
    numbers = [str(reading.numbers[cut["id"]]) for cut in cuts]
    saw = f"{setting['tool']} {reading.mark(setting['piece'])}"
    return [saw, lies, "\n".join(numbers), "\n".join(places), "\n".join(_gives(reading, cuts))]


def bench(reading: Script, words: Words, setting: Mapping[str, Any]) -> tuple[str, list[str]]:
    """How a piece lies at a saw of the shop and what is measured from; the place of each cut of the setting."""
    cuts, lies = reading.cuts_of(setting), _lies(reading, setting)
    if setting["tool"] == "rip":
        measured, places = _rip_places(reading, words, setting)
        return f"{lies}; {measured}", places
    if setting["tool"] in ("crosscut", "buck"):
        return f"{lies}; from its butt end", [words.length(from_butt(reading, setting, cut)) for cut in cuts]
    found = [from_fence(reading, setting, cut) for cut in cuts]
    return lies, [words.fine(one) if one is not None else "by its line" for one in found]


def _lies(reading: Script, setting: Mapping[str, Any]) -> str:
    """How a piece lies, in words."""
    support = setting.get("support") or ""
    against, text = setting.get("against"), SUPPORTS.get(support, support)
    if not against:
        return text
    face, angle = reading.numbers[against["face"]], float(against["angle_deg"])
    if support == "table" and abs(angle - 90.0) < 0.05:
        return f"{text}, face {face} down"
    return f"{text}, face {face} " + ("flat to it" if angle < 0.05 else f"at {degrees(angle)} to the blade")


def _rip_places(reading: Script, words: Words, setting: Mapping[str, Any]) -> tuple[str, list[str]]:
    """What a setting's rips are measured from, and each one's place."""
    cuts, reference = reading.cuts_of(setting), rip_reference(reading, setting)
    if reference is None:
        return "by its line", ["by its line"] * len(cuts)
    ends = [rip_distances(reading, setting, reference, cut) for cut in cuts]
    if reference.kind == "ticks":
        made = mill_setting_of(reading, setting["piece"])
        texts = [tuple(f"{words.length(abs(one))} {'right' if one >= 0.0 else 'left'}" for one in two) for two in ends]
        source = f"from the line between its {tick_name(reading, made) if made else ''} ticks"
    else:
        face = reading.numbers[reference.face]
        source = f"from face {face}" if reference.kind == "face" else f"from the {reference.side} arris of face {face}"
        texts = [tuple(_from_edge(words, one) for one in two) for two in ends]
    return source, [one if one == other else f"{one} | {other}" for one, other in texts]


def _from_edge(words: Words, value: float) -> str:
    """A distance from a sawn edge; a trimming cut's kerf begins outside it."""
    return words.length(value) if value > -0.25 else f"{words.length(-value)} outside"


def _gives(reading: Script, cuts: Sequence[Mapping[str, Any]]) -> list[str]:
    """What each cut leaves that is not parted in the same run."""
    used, found = {cut["piece"] for cut in cuts}, []
    for cut in cuts:
        kept = [one for one in (cut["above"], cut["below"])
                if one not in used and reading.pieces[one]["kind"] != "offcut"]  # fmt: skip
        waste = [one for one in (cut["above"], cut["below"]) if one not in used and one not in kept]
        pith = cut["tool"] == "rip" and any(_holds_pith(reading, one) for one in waste)
        found.append(", ".join(_called(reading, one) for one in kept) or ("pith strip, offcut" if pith else "offcut"))
    return found


def _holds_pith(reading: Script, piece: str) -> bool:
    """Whether a piece that still has the log's butt end holds some of the pith circle there."""
    butt = reading.ends(piece)[0]
    if reading.stretch(piece)[0] > float(butt.pith[0]) + 1.0:
        return False
    return bool(reading.part_of_face(piece, butt).distance(Point(0.0, 0.0)) < reading.pith_radius)


def _called(reading: Script, piece: str) -> str:
    plate = reading.plates.get(piece)
    return reading.mark(piece) + (f" {plate['part']}" if plate else "")
