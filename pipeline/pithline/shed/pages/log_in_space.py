"""The log to be turned about: its scan with bark, wood, ends, pith and swellings; by touch, mouse or keyboard, and in words."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from nicegui.elements.scene import Scene

from pithline.outputs.formatting import Formatter
from pithline.outputs.log_scene import knots_in_words
from pithline.shed.fitting import SCENE_LINES, SCENE_POINTS, scene_file
from pithline.shed.pages.yard import fit_stamp
from pithline.shed.parts import Tag, button, chosen
from pithline.shed.state import Shed

BROUGHT = Scene.__name__
"""The page library tells the browser where its drawing library lies once this class of it is loaded."""
LAYERS = (("points", "scan", True), ("bark", "bark as fitted", True), ("wood", "wood under bark", True), ("pith", "pith", True),
          ("knots", "swellings", True))  # fmt: skip
"""What can be shown or left out: its name, words, and whether it is shown at first."""
MOVES = (("left", "←", "Turn left"), ("right", "→", "Turn right"), ("up", "↑", "Look from higher"), ("down", "↓", "Look from lower"),
         ("near", "+", "Nearer"), ("far", "−", "Farther"))  # fmt: skip
VIEWS = (("side", "From the side"), ("butt", "The butt"), ("top", "The top"), ("above", "From above"))


def log_in_space(shed: Shed, log: str) -> None:
    """The section of the log's page; nothing where no fit has made it."""
    stamp = fit_stamp(shed, log)
    lines = scene_file(shed.yard, log, SCENE_LINES)
    if lines is None or not lines.is_file():
        return
    model = _model(str(shed.yard.fit_folder(log) / "log-model.json"), stamp)
    if model is None:
        return
    at = f"/scene/{quote(log, safe='')}/"
    Tag("h2", "The log in space")
    with Tag(
        "div", look="space", data_lines=f"{at}{SCENE_LINES}?at={stamp}", data_points=f"{at}{SCENE_POINTS}?at={stamp}"
    ):
        Tag(
            "canvas",
            tabindex="0",
            role="img",
            aria_label="The log with its scan, to be turned about: arrow keys turn it, plus and minus go nearer and away, Home goes back",
            aria_describedby="space-words",
        )
        Tag("p", "It is being loaded.", "faint", data_told="")
        with Tag("div", look="nudge", role="group", aria_label="Turn the log"):
            for move, sign, words in MOVES:
                button(sign, aria_label=words, data_move=move)
            for view, words in VIEWS:
                button(words, data_view=view)
        with Tag("fieldset"):
            Tag("legend", "Shown")
            with Tag("div", look="pick"):
                for name, words, on in LAYERS:
                    with Tag("label"):
                        Tag("input", type="checkbox", data_layer=name, **chosen("checked", on))
                        Tag("span", words)
    _in_words(model, Formatter(shed.units))


def _in_words(model: dict[str, Any], fmt: Formatter) -> None:
    """What the picture shows, for whoever cannot see it."""
    found = knots_in_words(model, fmt)
    with Tag("div", id="space-words"):
        if not found:
            Tag("p", "No swelling stands out of the bark that may be a knot.")
            return
        Tag(
            "p",
            "Swellings that may be knots, red in the picture. Only what you put on the card is kept out of the plates:",
        )
        with Tag("ul"):
            for words in found:
                Tag("li", words)


@lru_cache(maxsize=32)
def _model(path: str, stamp: int) -> dict[str, Any] | None:
    try:
        found: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found
