"""What a log is good for, as its page keeps and shows it until the card changes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pithline.files.read import sha256_of
from pithline.files.write import write_folder
from pithline.outputs.cut_script.reader import read_products
from pithline.outputs.formatting import Formatter
from pithline.outputs.good_for import by_what_it_brings, how_searched, in_the_way, list_results, sets_of
from pithline.outputs.results import litres_in_words, money_in_words
from pithline.shed.folder import YardFolder


@dataclass(frozen=True, slots=True)
class ListRow:
    """One product list in words: its figures by name, a sentence for each part that does not fit, whether any set is sold of it."""

    name: str
    figures: tuple[tuple[str, str], ...]
    misfits: tuple[str, ...]
    sells: bool = True


@dataclass(frozen=True, slots=True)
class Weighed:
    """What a log is good for.

    Attributes
    ----------
    rows : tuple of ListRow
        By what they bring, the most first.
    way : str
        What keeps a dearer set out.
    searched : str
        How the rows came about.
    mill : str
    stale : bool
        Whether the card has changed since.
    """

    rows: tuple[ListRow, ...]
    way: str
    searched: str
    mill: str
    stale: bool


def keep_weighed(yard: YardFolder, log: str, found: Mapping[str, Any], mill: str) -> None:
    """Keep what `yard.weighed_log.weigh_card` found."""
    card = yard.log(log).card
    assert card is not None
    kept = {**found, "mill": mill, "card": sha256_of(card)}
    write_folder(_folder(yard), {f"{log}.json": json.dumps(kept, ensure_ascii=False).encode()})


def kept_weighed(yard: YardFolder, log: str, fmt: Formatter) -> Weighed | None:
    """What was found last; `None` where nothing was, or it cannot be read."""
    entry = yard.log(log)
    try:
        kept = json.loads((_folder(yard) / f"{entry.name}.json").read_text(encoding="utf-8"))
        products = read_products(kept["products"])
        found = list_results({"good_for": kept["good_for"]}, products, float(kept["hour_rate"]))
        rows = []
        for one in by_what_it_brings(found):
            of = one.results
            figures = (
                ("complete sets", sets_of(one)),
                ("in sets", "–" if of is None else litres_in_words(of.set_volume, fmt)),
                ("loose", "–" if of is None else litres_in_words(of.loose_volume, fmt)),
                ("hours", "–" if of is None else f"{of.hours:.1f} h"),
                ("earns", "–" if of is None else money_in_words(of.earnings, products.currency)),
            )
            rows.append(
                ListRow(
                    one.name,
                    figures,
                    tuple(fmt.retold(text) for text in one.misfits),
                    of is not None and any([*of.sets.values(), *of.singles.values()]),
                )
            )
        way = in_the_way(kept["next_better"], products.currency, fmt)
        stale = entry.card is None or sha256_of(entry.card) != kept["card"]
        return Weighed(tuple(rows), way, how_searched(found), str(kept["mill"]), stale)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def weighed_stamp(yard: YardFolder, log: str) -> int:
    """Changes whenever a log is weighed anew; the log's name has been looked up before."""
    try:
        return (_folder(yard) / f"{log}.json").stat().st_mtime_ns
    except OSError:
        return 0


def _folder(yard: YardFolder) -> Path:
    return yard.hidden / "good-for"
