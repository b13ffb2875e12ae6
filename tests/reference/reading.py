"""Reads the tables kept beside the tests."""

from __future__ import annotations

import csv
from pathlib import Path


def rows(beside: str, name: str) -> list[dict[str, str]]:
    """The rows of a CSV file in the folder of `beside` (a test's `__file__`), each a dictionary by its header."""
    with (Path(beside).parent / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
