"""Why a search has nothing to find, in words a sawyer can act on."""

from __future__ import annotations

import numpy as np

from pithline.errors import PlanError
from pithline.plan.problem.economics import Economics
from pithline.plan.problem.log_frame import PlanLog
from pithline.plan.problem.parts import SawnPart, sapwood_kept_out


def no_part_fits(log: PlanLog, parts: tuple[SawnPart, ...]) -> PlanError:
    """Why nothing passes: the widest radial run and longest clear length against the parts."""
    field = log.field
    x = field.x0 + np.arange(len(field.pith)) * field.dx
    inside = (x > log.butt.point[0] + log.trim_butt) & (x < log.top.point[0] - log.trim_top)
    run = float(np.median(field.radius[inside], axis=0).max()) - log.pith_radius if inside.any() else 0.0
    clear = log.clear
    shortest = min(parts, key=lambda p: p.length)
    if clear < shortest.length:
        return PlanError(
            f"no part fits: the longest clear length is {clear:.0f} mm, the shortest part ({shortest.product} "
            f"{shortest.part.name}) needs {shortest.length:.0f} mm; choose a shorter part or lessen the trims."
        )
    short = [part for part in parts if part.length <= clear]
    kept_out = {part: sapwood_kept_out(part.limits, log.sapwood) for part in short}
    slimmest = min(short, key=lambda part: part.width + kept_out[part])
    if run < slimmest.width + kept_out[slimmest]:
        which = (
            "the narrowest part" if len(short) == len(parts) else f"the narrowest part no longer than {clear:.0f} mm"
        )
        return PlanError(
            f"no part fits: the widest radial run is {run:.0f} mm, {which} ({slimmest.product} {slimmest.part.name}) needs "
            f"{slimmest.width:.0f} mm{_beside_sapwood(kept_out[slimmest])}; choose a narrower part or another log."
        )
    limits = slimmest.limits
    return PlanError(
        f"no part fits: a run {run:.0f} mm wide and {clear:.0f} mm long is there, but no plate of it keeps the limits "
        f'"{limits.name}" (ring angle {np.degrees(limits.ring_angle_min):.0f}°, runout '
        f"{np.degrees(limits.runout_max):.1f}°); choose looser limits, shorter parts or another log."
    )


def _beside_sapwood(kept_out: float) -> str:
    """What a part needs beside its width where its limits keep sapwood out."""
    return f" beside {kept_out:.0f} mm of sapwood" if kept_out >= 0.5 else ""


def no_setting_pays(economics: Economics, best: float) -> PlanError:
    """Why nothing pays: a setting is charged more than it yields; `best` is what the best single slab does."""
    unit, key = (" in money", "hour_rate") if economics.objective.in_money else (" L", "least_gain_per_setting")
    return PlanError(
        f"no setting pays: each is charged {economics.mill.setting:.3g}{unit}, and the best single slab yields {best:.3g}{unit}; "
        f"lower the mill's {key}."
    )
