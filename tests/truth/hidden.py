"""What nobody sees of a log before it is open, drawn from priors by code of its own, and the card that its buyer would write."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from truth.logs import TrueDefect, TrueLog, direction
from truth.samples import arms
from truth.scans import Scan, Yard, card_text, girth, simulate_scan, write_binary_ply

if TYPE_CHECKING:
    from pithline.files.priors import Priors

FELLED = "2026-01-01"
MONTHS = 3.0
"""From felling to the day of the sale."""
MARK_ERROR = 3.0
"""Each way, of a pith mark: what a card that states none is taken to have. [mm]"""


@dataclass(frozen=True)
class Wandering(TrueLog):
    """A generated log whose pith leaves the line between its ends by two waves, each with two ways (y, z). [mm]"""

    bow: tuple[float, float] = (0.0, 0.0)
    snake: tuple[float, float] = (0.0, 0.0)

    def pith(self, x: np.ndarray) -> np.ndarray:
        """P(x): (..., 2)."""
        t = np.clip(np.asarray(x, float) / self.length, 0.0, 1.0)[..., None]
        return super().pith(x) + np.sin(np.pi * t) * np.array(self.bow) + np.sin(2 * np.pi * t) * np.array(self.snake)


def wandering(log: TrueLog, bow: tuple[float, float], snake: tuple[float, float] = (0.0, 0.0)) -> Wandering:
    """The log with its pith off the line between its ends by so much at mid-length and at the quarters. [mm]"""
    return Wandering(**{field.name: getattr(log, field.name) for field in fields(log)}, bow=bow, snake=snake)


def smaller(log: TrueLog, share: float) -> TrueLog:
    """A log of the same shape, every length but the bark, the trims and the pith's radius times `share`."""
    sizes = ("length", "radius", "flare", "flare_reach", "sweep", "crook")
    waves = tuple(
        replace(w, amplitude=w.amplitude * share, fade=None if w.fade is None else w.fade * share) for w in log.waves
    )
    return replace(
        log,
        **{name: getattr(log, name) * share for name in sizes},
        waves=waves,
        pith_butt=tuple(share * v for v in log.pith_butt),
        pith_top=tuple(share * v for v in log.pith_top),
        stubs=tuple(replace(stub, x=stub.x * share) for stub in log.stubs),
    )


def hidden(log: TrueLog, priors: Priors, seed: int) -> TrueLog:
    """The log with what nobody sees drawn from the priors, by code of its own."""
    rng = np.random.default_rng([seed, zlib.crc32(log.name.encode())])
    over = log.radius / (0.92 + rng.normal(0.0, priors.bark_ratio))
    bark = max(over - log.radius, 3.0)
    defects = []
    area = 2 * np.pi * over * log.length * 1e-6
    for _ in range(rng.poisson(priors.knots_per_m2 * area)):
        size = priors.knot_diameter * np.exp(rng.normal(0, priors.knot_spread))
        place = rng.uniform(0, log.length), rng.uniform(0, 2 * np.pi)
        defects.append(TrueDefect("knot", float(place[0]), None, float(place[1]), float(size), margin=3.0))
    if rng.uniform() < priors.metal_forest:
        place = rng.uniform(0, log.length), rng.uniform(0, 2 * np.pi)
        defects.append(TrueDefect("metal", float(place[0]), None, float(place[1]), priors.metal_diameter, margin=3.0))
    for end in ("butt", "top"):
        for _ in range(rng.poisson(priors.checks_per_end)):
            median = priors.end_checks.length(MONTHS, False)
            size = median * np.exp(rng.normal(0, priors.check_spread))
            clock = float(rng.uniform(0, 2 * np.pi))
            defects.append(TrueDefect("check", None, end, clock, None, float(size)))
    if rng.uniform() < priors.rot_share:
        size = np.exp(rng.normal(0, priors.rot_spread, 2))
        defects.append(
            TrueDefect(
                "rot", None, "butt", None, float(priors.rot_diameter * size[0]), float(priors.rot_length * size[1])
            )
        )
    under = np.random.default_rng([seed, 55])
    for stub in log.stubs:  # a branch stood there: most hide a knot, as the prior of suspected ones says
        if under.uniform() < priors.suspected_real:
            x = np.array(stub.x)
            mark = log.centre(x) + log.under_bark_radius(x, np.array(stub.clock)) * direction(stub.clock) - log.pith(x)
            clock = float(np.arctan2(-mark[0], mark[1]))
            defects.append(TrueDefect("knot", float(stub.x), None, clock, 2.0 * stub.base, margin=3.0))
    ways = rng.normal(0.0, priors.pith_wander, (2, 2))
    return replace(
        wandering(log, bow=tuple(ways[0]), snake=tuple(ways[1] / 2)),
        bark=float(bark),
        bark_waves=tuple(replace(wave, amplitude=wave.amplitude * bark / log.bark) for wave in log.bark_waves),
        spiral=float(rng.normal(priors.spiral_mean, priors.spiral_sd)),
        defects=tuple(defects),
    )


def figure_seen(priors: Priors, seed: int) -> float:
    """What figure that shows once the log is open makes of the price of what is sold of it; 1 for a plain log."""
    rng = np.random.default_rng([seed, 88])
    if rng.uniform() >= priors.figure_share:
        return 1.0
    return float(
        1.0 + priors.figure_reach * (priors.figure_factor - 1.0) * np.exp(rng.normal(0.0, priors.figure_spread))
    )


def cards(log: TrueLog, basis: str, seed: int, priors: Priors, folder: Path) -> tuple[str, Scan | None]:
    """Write the card (and scan) of one log as its buyer would know it."""
    rng = np.random.default_rng([seed, 77])
    gauged = log.bark * (1 + rng.normal(0, priors.bark_gauged))
    path = folder / "log.toml"
    if basis == "tape":
        bow = log.sweep * direction(log.sweep_clock) + rng.normal(0.0, priors.string_error, 2)
        sweep = float(np.hypot(*bow))
        lines = [
            f'[log]\nid = "{log.name}"\nspecies = "black walnut"\nfelled = {FELLED}',
            f'[ends]\ntrim_butt = "{log.trim_butt:g} mm"\ntrim_top = "{log.trim_top:g} mm"',
            f'[tape]\nlength = "{log.length:.0f} mm"\ngirth_butt = "{girth(log, 100.0):.0f} mm"\n'
            f'girth_top = "{girth(log, log.length - 100.0):.0f} mm"\nsweep = "{sweep:.0f} mm"\n'
            f"sweep_clock_deg = {np.degrees(np.arctan2(-bow[0], bow[1])) % 360.0:.1f}",
            f'[pith]\nradius = "{log.pith_radius:g} mm"',
        ]
        for end in ("butt", "top"):
            across, up = rng.normal(0.0, MARK_ERROR, 2)
            off = {"left": across, "right": -across, "up": up, "down": -up}
            own = {k: max(v + off[k], 1.0) for k, v in arms(log, end).items()}
            lines.append(f"{end} = {{ " + ", ".join(f'{k} = "{v:.0f} mm"' for k, v in own.items()) + " }")
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return str(path), None
    yard = Yard(points=40_000, hidden_deg=90.0 if basis == "scan" else 190.0)
    scan = simulate_scan(log, seed, yard)
    off = np.column_stack([np.zeros(2), rng.normal(0.0, MARK_ERROR, (2, 2))]) @ scan.truth_to_scan[:3, :3].T
    scan = replace(scan, pith_butt=scan.pith_butt + off[0], pith_top=scan.pith_top + off[1])
    write_binary_ply(folder / "log.ply", scan.points)
    text = card_text(log, scan, "log.ply").replace("[log]\n", f"[log]\nfelled = {FELLED}\n", 1)
    if basis == "one flank":
        text = text.replace(f'[bark]\nthickness = "{log.bark:.1f} mm"\n', "")
    else:
        text = text.replace(f'thickness = "{log.bark:.1f} mm"', f'thickness = "{gauged:.1f} mm"')
    path.write_text(text, encoding="utf-8")
    return str(path), scan
