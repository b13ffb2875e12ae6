"""A worked-out season as the JSON document of the schema."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from pithline.outputs.reports.season_folder import SEASON_SCRIPT
from pithline.script.schema import validate
from pithline.yard.season.question import SeasonQuestion
from pithline.yard.season.run import SeasonAnswer


def season_document(
    question: SeasonQuestion, answer: SeasonAnswer, finished: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """The document, held against its schema. `finished` says of a log how its full plan differs."""
    finished = {} if finished is None else finished
    lines = {line.log: line for line in answer.books.lines}
    columns = {log.id: {column.name: column for column in log.columns} for log in answer.season.logs}
    logs = []
    for log in answer.season.logs:
        line = lines.get(log.id)
        row: dict[str, Any] = {"id": log.id}
        if line is None:
            failed = answer.failed.get(log.id)
            row |= {
                "state": "left" if failed is None else "failed",
                "why": failed or _why(answer, log.id),
                "script": None,
            }
            row |= {"plan": None, "cost": 0.0, "value": 0.0, "minutes": 0, "week": None}
        else:
            row |= {"state": "planned", "why": None, "script": SEASON_SCRIPT.format(log.id), "plan": line.column}
            row |= {"cost": line.cost / 100, "value": line.value / 100, "minutes": line.minutes, "week": line.week}
            row |= {"sets": dict(columns[log.id][line.column].sets)}
            if log.id in finished:
                row["finished"] = finished[log.id]
        logs.append(row)
    books = answer.books
    document: dict[str, Any] = {
        "format": "pithline-season",
        "version": 1,
        "currency": answer.read.yard.currency,
        "start": question.start.isoformat(),
        "hours_per_week": answer.read.yard.hours_per_week,
        "objective": answer.choice.objective / 100,
        "bound": round(answer.choice.bound) / 100,
        "gap": max(answer.choice.gap, 0.0),
        "status": answer.choice.status,
        "columns": {
            "asked": answer.asked,
            "kept": sum(len(log.columns) for log in answer.season.logs),
            "stopped": answer.stopped,
            "beyond": None if answer.beyond is None else round(answer.beyond) / 100,
        },
        "logs": logs,
        "orders": _orders(question, answer),
        "weeks": _weeks(question, answer),
        "totals": {
            "value": books.value / 100,
            "cost": books.cost / 100,
            "profit": books.profit / 100,
            "minutes": books.minutes,
            "sets": dict(books.sets),
        },
    }
    if answer.compared is not None:
        document["spared"] = {
            "minutes": answer.compared.minutes - books.minutes,
            "cost": (answer.compared.cost - books.cost) / 100,
        }
    validate(document, "season")
    return document


def _why(answer: SeasonAnswer, name: str) -> str:
    log = next(one for one in answer.season.logs if one.id == name)
    if not log.columns:
        return "its plans hold no complete set of what is ordered"
    if answer.choice.prices.logs.get(name, 0.0) <= 0.0:
        return "beside the other logs of the yard, what it could still be sold for does not cover its cost"
    return "others fill the orders and hours better"


def _orders(question: SeasonQuestion, answer: SeasonAnswer) -> list[dict[str, Any]]:
    lines = {line.log: line for line in answer.books.lines}
    columns = {(log.id, c.name): c for log in answer.season.logs for c in log.columns}
    out = []
    for row, filled in zip(answer.read.orders, answer.choice.filled, strict=True):
        weeks = [lines[log].week + 1 + columns[log, lines[log].column].drying[row.product] for log in filled]
        ready = question.start + datetime.timedelta(weeks=max(weeks)) if weeks else None
        out.append(
            {
                "product": row.product,
                "quantity": row.quantity,
                "price": row.price / 100,
                "priority": row.priority,
                "matched": row.matched,
                "filled": sum(filled.values()),
                "due": row.due.isoformat() if row.due else None,
                "ready": ready.isoformat() if ready else None,
                "from": dict(sorted(filled.items())),
            }
        )
    return out


def _weeks(question: SeasonQuestion, answer: SeasonAnswer) -> list[dict[str, Any]]:
    """Minutes by week: a log ends in its week, and what does not fit there was done in the weeks before."""
    terms = answer.season.terms
    minutes = [0] * terms.weeks
    for line in answer.books.lines:
        left, week = line.minutes, line.week
        minutes[week] += left
    for week in range(terms.weeks - 1, 0, -1):
        over = max(0, minutes[week] - terms.minutes_per_week)
        minutes[week] -= over
        minutes[week - 1] += over
    return [
        {
            "week": week,
            "begins": (question.start + datetime.timedelta(weeks=week)).isoformat(),
            "minutes": minutes[week],
        }
        for week in range(terms.weeks)
    ]
