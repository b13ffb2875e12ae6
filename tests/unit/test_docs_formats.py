"""docs/formats.md names every key of every format, and says what the declarations say."""

import importlib.util
import json
import re
from pathlib import Path

import pytest

from pithline.files.cards import CARD
from pithline.files.found import FOUND
from pithline.files.mills import MILL
from pithline.files.practice import PRACTICE
from pithline.files.products import PRODUCTS
from pithline.keys.declared import Named, Table, Tables
from pithline.script.schema import schema_bytes

DOCS = Path(__file__).resolve().parents[2] / "docs"
TEXT = (DOCS / "formats.md").read_text(encoding="utf-8")
WORDS = set(re.findall(r"[A-Za-z0-9_]+", TEXT))


def keys_of(entry):
    """Every key below an entry of a table of known keys."""
    if isinstance(entry, Table):
        for name, one in entry.keys.items():
            yield name
            yield from keys_of(one)
    elif isinstance(entry, Tables | Named):
        yield from keys_of(entry.table)


def properties(schema):
    if isinstance(schema, dict):
        for name, value in schema.items():
            if name == "properties" and isinstance(value, dict):
                yield from value
            yield from properties(value)
    elif isinstance(schema, list):
        for one in schema:
            yield from properties(one)


@pytest.mark.parametrize(
    "table", [CARD, FOUND, MILL, PRODUCTS, PRACTICE], ids=["card", "found", "mill", "products", "practice"]
)
def test_every_key_a_user_can_write_is_named(table):
    keys = set(keys_of(table))
    assert len(keys) > 3 and not keys - WORDS


@pytest.mark.parametrize("which", ["cut-script", "log-model"])
def test_every_key_of_the_schemas_is_named(which):
    keys = set(properties(json.loads(schema_bytes(which))))
    assert len(keys) > 10 and not keys - WORDS


def test_tables_are_those_of_code_and_data():
    """Where this fails: python docs/key_tables.py."""
    spec = importlib.util.spec_from_file_location("key_tables", DOCS / "key_tables.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    pages = [(DOCS / name).read_text(encoding="utf-8") for name in module.PAGES]
    assert all(any(f"<!-- {name} -->" in page for page in pages) for name in module.TABLES)
    assert [module.with_tables(page) for page in pages] == pages
