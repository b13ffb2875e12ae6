"""Writes the tables of keys in docs/formats.md from where the keys are declared: `python docs/key_tables.py`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from pithline.keys.declared import key_table
from pithline.logmodel.card import Card

FORMATS = Path(__file__).resolve().parent / "formats.md"
DECLARED: Mapping[str, type] = {"card": Card}
"""Name of a table in the page -> the class whose fields declare its keys."""


def with_tables(page: str) -> str:
    """The page with each table between `<!-- keys: NAME -->` and `<!-- end -->` as its class declares it."""

    def written(found: re.Match[str]) -> str:
        return f"<!-- keys: {found[1]} -->\n\n{key_table(DECLARED[found[1]])}\n<!-- end -->"

    return re.sub(r"<!-- keys: (\w+) -->.*?<!-- end -->", written, page, flags=re.DOTALL)


if __name__ == "__main__":
    FORMATS.write_text(with_tables(FORMATS.read_text(encoding="utf-8")), encoding="utf-8")
