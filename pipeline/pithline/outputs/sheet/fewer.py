"""What fewer settings would give: one bar a plan, with its litres, settings, minutes and complete sets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pithline.outputs.paper import Pages, shortened
from pithline.outputs.words import Words

ROW = 13.0
LABEL, BAR = 74.0, 170.0
SIZE = 8.5


def fewer_settings(pages: Pages, words: Words, rows: Sequence[Mapping[str, Any]]) -> None:
    """Draw the trade-off between charged settings and yield; nothing where there is but one plan."""
    if len(rows) < 2:
        return
    most = max(row["instrument_volume"] for row in rows)
    pages.room(ROW * (len(rows) + 1) + 8.0)
    pages.text("What fewer charged settings would still give (plan again with --max-settings):", 9.5, bold=True)
    for row in rows:
        cap = row["max_settings"]
        pages.write(pages.left, pages.y - 10.0, "this plan" if cap is None else f"at most {cap}", SIZE, bold=cap is None)
        pages.canvas.setFillGray(0.35 if cap is None else 0.7)
        pages.canvas.rect(
            pages.left + LABEL, pages.y - 12.0, BAR * row["instrument_volume"] / most, 9.0, stroke=0, fill=1
        )
        pages.canvas.setFillGray(0.0)
        sets = ", ".join(f"{n} {name}" for name, n in row["sets"].items() if n) or "no complete set"
        text = f"{words.volume(row['instrument_volume'])}, {row['settings']} settings, {row['minutes']:.0f} min: {sets}"
        at = pages.left + LABEL + BAR + 8.0
        pages.write(at, pages.y - 10.0, shortened(text, pages.left + pages.measure - at, SIZE), SIZE)
        pages.y -= ROW
    pages.y -= 6.0
