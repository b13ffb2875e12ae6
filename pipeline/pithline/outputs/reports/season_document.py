"""A season as files: the JSON of the schema, and a CSV of logs."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any


def season_json(document: Mapping[str, Any]) -> bytes:
    """The document as JSON, the same bytes each time."""
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()


def season_csv(document: Mapping[str, Any]) -> bytes:
    """One row a log: what is done with it, when, and what it brings."""
    begins = {week["week"]: week["begins"] for week in document["weeks"]}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(
        [
            "log",
            "state",
            "week",
            "week begins",
            "minutes",
            "cost",
            "value",
            "profit",
            "sets",
            "for orders",
            "script",
            "why",
        ]
    )
    sold: dict[str, list[str]] = {}
    for number, order in enumerate(document["orders"], 1):
        for log, sets in order["from"].items():
            sold.setdefault(log, []).append(f"{sets} {order['product']} (order {number})")
    for log in document["logs"]:
        planned = log["state"] == "planned"
        sets = ", ".join(f"{n} {name}" for name, n in log.get("sets", {}).items())
        writer.writerow(
            [
                log["id"],
                log["state"],
                log["week"] if planned else "",
                begins.get(log["week"], "") if planned else "",
                log["minutes"] if planned else "",
                *(f"{value:.2f}" for value in (log["cost"], log["value"], log["value"] - log["cost"])),
                sets,
                ", ".join(sold.get(log["id"], [])),
                log["script"] or "",
                log["why"] or "",
            ]
        )
    return text.getvalue().encode()
