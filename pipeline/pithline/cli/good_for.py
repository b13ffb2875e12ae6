"""What the console says of what a log is good for: what each product list alone gives, and which parts do not fit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pithline.cli.console import Console

MOST_MISFITS = 3
"""Parts of one list that do not fit and are told in full."""


def show_good_for(console: Console, script: Mapping[str, Any]) -> None:
    """A table of what every list alone gives, and all together; then the parts that do not fit, and by how much.

    Where the script tells of one list alone, only what does not fit.
    """
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from pithline.outputs.cut_script.reader import read_products
    from pithline.outputs.formatting import Formatter
    from pithline.outputs.good_for import (
        better_alone,
        how_searched,
        list_results,
        misfits_in_words,
        misfits_of,
        sets_of,
    )
    from pithline.outputs.results import money_in_words

    inputs, fmt = script["inputs"], Formatter()
    products = read_products(inputs["products"])
    found = list_results(script["proof"], products, float(inputs["mill"]["mill"].get("hour_rate", 0.0)))
    if not found:
        for text in misfits_in_words(misfits_of(script["proof"]), MOST_MISFITS, fmt):
            console.show(text)
        return
    table = Table(title="What the log is good for", title_justify="left", box=SIMPLE_HEAD)
    table.add_column("list", no_wrap=True)
    table.add_column("complete sets")
    for name in ("in sets, L", "loose, L", "hours", "earnings"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found:
        of = one.results
        if of is None:
            table.add_row(one.name, "–", "–", "–", "–", "–")
            continue
        litres = ("–" if volume is None else f"{volume / 1e6:.1f}" for volume in (of.set_volume, of.loose_volume))
        table.add_row(
            one.name, sets_of(one), *litres, f"{of.hours:.1f}", money_in_words(of.earnings, products.currency)
        )
    console.show(table)
    console.show(f"{how_searched(found)} {better_alone(found, str(script['proof'].get('asks_for', '')))}".rstrip())
    for one in found:
        for number, text in enumerate(misfits_in_words(one.misfits, MOST_MISFITS, fmt)):
            console.show(f"{'  ' if number else one.name + ': '}{text}")
