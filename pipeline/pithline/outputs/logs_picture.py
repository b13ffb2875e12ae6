"""The logs of one scan from above and from the side, numbered, to choose one of."""

from __future__ import annotations

import io

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from pithline.logmodel.logs_in_scan import LogSeen

COLOURS = ("#20406e", "#b03a1e", "#3a7d44", "#8a5a00", "#6a3d8a", "#00707a", "#a0306a", "#555555")


def logs_png(logs: tuple[LogSeen, ...], title: str) -> bytes:
    """PNG of the logs, each with its number."""
    with matplotlib.rc_context({"font.size": 9, "svg.hashsalt": "pithline"}):
        figure = Figure(figsize=(10.0, 9.0), dpi=110)
        words = f"{title}: {len(logs)} logs" if len(logs) > 1 else f"{title}: one log"
        figure.suptitle(f"{words}. Choose with --pick N.", fontweight="bold", ha="left", x=0.02)
        above, side = figure.subplots(2, 1, height_ratios=(2.0, 1.0))
        figure.subplots_adjust(0.07, 0.06, 0.98, 0.91, hspace=0.2)
        for number, log in enumerate(logs):
            colour = COLOURS[number % len(COLOURS)]
            sizes = f"{number + 1}: {log.length:.0f} mm long, {log.diameter:.0f} mm thick"
            for axes, column in ((above, 1), (side, 2)):
                axes.plot(log.points[:, 0] / 1000, log.points[:, column] / 1000, ".", ms=1.0, color=colour, label=sizes)
                at = np.median(log.points, axis=0) / 1000
                box = {"boxstyle": "circle", "fc": "white", "ec": colour}
                axes.text(at[0], at[column], f"{number + 1}", fontsize=13, ha="center", va="center", bbox=box)
        above.set_title("from above", loc="left")
        side.set_title("from the side", loc="left")
        for axes in (above, side):
            axes.set_aspect("equal", adjustable="datalim")
            axes.grid(alpha=0.3, lw=0.4)
            axes.set_ylabel("m")
        side.set_xlabel("m")
        above.legend(loc="upper right", markerscale=8, framealpha=0.9)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
