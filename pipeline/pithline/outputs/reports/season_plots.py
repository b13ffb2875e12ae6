"""Pictures of a season as SVG that scales with the page: value by log, orders filled over time, hours by week."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable, Mapping
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

SIZE = (4.6, 3.0)
LEAST_WEEKS = 7
"""Weeks that are shown at least, the first left out."""
NAMED = 24
"""Up to so many logs each have a bar with a name; more are bars side by side, the best first."""
WOOD, COST, LINE, PALE, RED = "#8a6f52", "#c9bba9", "#20406e", "#d9e0ea", "#a8321c"


def season_plots(document: Mapping[str, Any]) -> dict[str, str]:
    """SVG text by name: "value", "orders", "hours"."""
    return {
        "value": _svg(_value, document, (SIZE[0], max(SIZE[1], 0.24 * min(_planned(document), NAMED) + 0.9))),
        "orders": _svg(_orders, document, SIZE),
        "hours": _svg(_hours, document, SIZE),
    }


def _planned(document: Mapping[str, Any]) -> int:
    return sum(log["state"] == "planned" for log in document["logs"])


def _svg(
    draw: Callable[[Axes, Mapping[str, Any]], None], document: Mapping[str, Any], size: tuple[float, float]
) -> str:
    with matplotlib.rc_context(
        {"font.size": 9, "svg.hashsalt": "pithline", "svg.fonttype": "none", "font.family": "sans-serif"}
    ):
        figure = Figure(figsize=size, layout="constrained")
        axes = figure.add_subplot()
        axes.spines[["top", "right"]].set_visible(False)
        draw(axes, document)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None}, transparent=True)
    text = buffer.getvalue().decode()
    return text[text.index("<svg") :]


def _value(axes: Axes, document: Mapping[str, Any]) -> None:
    logs = sorted((log for log in document["logs"] if log["state"] == "planned"), key=lambda log: -log["value"])
    if not logs:
        axes.text(0.5, 0.5, "no log is sawn", ha="center", transform=axes.transAxes)
        axes.set_axis_off()
        return
    value, cost = np.array([log["value"] for log in logs]), np.array([log["cost"] for log in logs])
    at = np.arange(len(logs))
    if len(logs) <= NAMED:
        axes.barh(at, value, 0.72, color=WOOD, label="value of sets sold")
        axes.barh(at, cost, 0.34, color=COST, label="cost: log, overhead, sawing")
        axes.set_yticks(at, [log["id"] if len(log["id"]) <= 16 else log["id"][:15] + "…" for log in logs])
        axes.tick_params(axis="y", length=0)
        axes.invert_yaxis()
        axes.set_xlabel(document["currency"])
    else:
        axes.fill_between(at, value, step="mid", color=WOOD, label="value of sets sold")
        axes.step(at, cost, where="mid", color=LINE, lw=0.9, label="cost: log, overhead, sawing")
        axes.set_xlabel("logs, by value")
        axes.set_ylabel(document["currency"])
        axes.set_ylim(0)
    _legend(axes)


def _orders(axes: Axes, document: Mapping[str, Any]) -> None:
    """Sets asked for and filled, by the day they are due or ready."""
    start = datetime.date.fromisoformat(document["start"])
    end = start + datetime.timedelta(weeks=max(len(document["weeks"]), 1))
    days = [datetime.date.fromisoformat(o["due"]) for o in document["orders"] if o["due"]]
    ready = [datetime.date.fromisoformat(o["ready"]) for o in document["orders"] if o.get("ready")]
    end = max([end, *days, *ready])
    asked, filled = [], []
    for order in document["orders"]:
        asked.append((datetime.date.fromisoformat(order["due"]) if order["due"] else end, order["quantity"]))
        if order.get("ready"):
            filled.append((datetime.date.fromisoformat(order["ready"]), order["filled"]))
    for points, colour, label, width in (
        (asked, RED, "asked for, by due day", 1.3),
        (filled, LINE, "filled, by day ready", 2.0),
    ):
        points = sorted(points)
        x = [start, *(day for day, _ in points), end]
        y = np.cumsum([0, *(sets for _, sets in points), 0])
        axes.step(date2num(x), y, where="post", color=colour, lw=width, label=label, ls="--" if colour == RED else "-")
    axes.set_ylim(0)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_ylabel("sets")
    _dates(axes)
    _legend(axes)


def _legend(axes: Axes) -> None:
    """Above the plot, where it hides nothing."""
    axes.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, fontsize=8, borderaxespad=0.2)


def _dates(axes: Axes) -> None:
    locator = AutoDateLocator(minticks=2, maxticks=5)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))


def _hours(axes: Axes, document: Mapping[str, Any]) -> None:
    minutes = np.array([week["minutes"] for week in document["weeks"]], float)
    last = int(np.flatnonzero(minutes).max(initial=0))
    day = datetime.date.fromisoformat(document["start"])
    middle = [day + datetime.timedelta(days=7 * week + 3) for week in range(last + 1)]
    axes.bar(date2num(middle), minutes[: last + 1] / 60.0, 5.6, color=WOOD)
    limit = document["hours_per_week"]
    axes.axhline(limit, color=RED, lw=1.2, ls="--")
    place = axes.get_yaxis_transform()
    axes.text(1.0, limit, f"{limit:g} h a week", ha="right", va="bottom", color=RED, fontsize=8, transform=place)
    axes.set_ylim(0, limit * 1.15)
    first, end = date2num([day, day + datetime.timedelta(weeks=max(last, LEAST_WEEKS) + 1)])
    axes.set_xlim(float(first), float(end))
    _dates(axes)
    axes.set_ylabel("hours at the mill")
