"""Faults that once went unnoticed, or well might: each is put into a copy of the package, and the tests named beside it must fail.

    python tests/mutation/faults.py               # all of them
    python tests/mutation/faults.py rip lean      # those whose words hold one of these

A fault whose code is no longer there is told too: then it wants its present-day equal.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

from mutants import PACKAGE, Mutant, noticed, package_copy


@dataclass(frozen=True, slots=True)
class Fault:
    """In words; the module below the package; the code as it is and with the fault; the tests that must notice."""

    words: str
    module: str
    was: str
    now: str
    tests: tuple[str, ...]

    def mutant(self) -> Mutant | None:
        """The module with the fault; None where its code is not there, or not once."""
        path = PACKAGE / self.module
        text = path.read_text(encoding="utf-8")
        if text.count(self.was) != 1:
            return None
        line = text[: text.index(self.was)].count("\n") + 1
        return Mutant(path, line, self.was, self.now, text.replace(self.was, self.now))


def unit(*names: str) -> tuple[str, ...]:
    """Test files of tests/unit."""
    return tuple(f"tests/unit/test_{name}.py" for name in names)


FAULTS = (
    Fault(
        "the length that a slab is ripped along, times ten",
        "plan/execute/shop.py",
        "minutes_of(_length(task, job), cuts",
        "minutes_of(10.0 * _length(task, job), cuts",
        unit("plan_shop"),
    ),
    Fault(
        "what a setting is charged by money, times ten",
        "plan/problem/economics.py",
        "        mill.minutes_per_setting * rate,",
        "        10.0 * mill.minutes_per_setting * rate,",
        unit("plan_economics"),
    ),
    Fault(
        "what a setting is charged by volume, times ten",
        "plan/problem/economics.py",
        "full, repeat = mill.least_gain_per_setting / LITRE,",
        "full, repeat = 10.0 * mill.least_gain_per_setting / LITRE,",
        unit("plan_economics"),
    ),
    Fault(
        "sensitivity tells what is kept in place of what is lost",
        "plan/evaluate/sensitivity.py",
        '"height_5_mm": whole - float(np.mean(raised))',
        '"height_5_mm": float(np.mean(raised))',
        unit("plan_judging"),
    ),
    Fault(
        "plans are ranked on the samples that are reported",
        "plan/evaluate/judge.py",
        "context.seed + 1)",
        "context.seed)",
        unit("plan_judging"),
    ),
    Fault(
        "minutes of a half off square are left out of a setting",
        "plan/execute/machine_setups.py",
        "(0.0 if self._square(piece, up) else mill.minutes_off_square)",
        "0.0",
        unit("plan_shop"),
    ),
    Fault(
        "minutes of a half off square are left out of the charges",
        "plan/problem/economics.py",
        "        mill.minutes_off_square * rate,\n",
        "        0.0,\n",
        unit("plan_economics"),
    ),
    Fault(
        "what pieces weigh in the shop, times ten",
        "plan/evaluate/totals.py",
        "* 1e-9 * density",
        "* 1e-8 * density",
        unit("plan_shop"),
    ),
    Fault(
        "the caution of an assumed sapwood is given where it was measured",
        "yard/finalise.py",
        "if model.sapwood_assumed and any(",
        "if not model.sapwood_assumed and any(",
        unit("plan_judging"),
    ),
    Fault(
        "prices that begin a search are the dearer the narrower a part",
        "plan/search.py",
        "part.width**2 for part in parts",
        "part.width**-2 for part in parts",
        unit("plan_prices"),
    ),
    Fault(
        "prices go where the bound is greater",
        "plan/pricing/cutting_planes.py",
        "row[:q], row[q] = plane.slope, -1.0",
        "row[:q], row[q] = -plane.slope, -1.0",
        unit("plan_prices"),
    ),
    Fault(
        "ten of 100 plates count where 65 pass",
        "plan/execute/slab_marks.py",
        "(0.3, 65)",
        "(0.3, 10)",
        unit("plan_judging"),
    ),
    Fault(
        "locks cost nothing",
        "plan/search.py",
        "return max(max(one.value for one in free) - max(one.value for one in locked), 0.0)",
        "return 0.0 * len(free)",
        unit("plan_ladder", "plan_bucking"),
    ),
    # ten more
    Fault(
        "a log's own minutes cost nothing on the grid",
        "plan/search.py",
        "value = answer.value - task.base_charge - log_cost",
        "value = answer.value - task.base_charge",
        ("tests/property/test_plan_laws.py",),
    ),
    Fault(
        "the crosscut of a log is not charged on the grid",
        "plan/search.py",
        "value = answer.value - task.base_charge - log_cost",
        "value = answer.value - log_cost",
        unit("plan_bucking"),
    ),
    Fault(
        "a bolt read back is held by whatever face comes first",
        "plan/execute/simulate.py",
        "hold_as_sawn(holds, start.log.axis, setting.lean)",
        "hold_as_sawn(holds, start.log.axis, None)",
        unit("yard_earlier_plan"),
    ),
    Fault(
        "a further setting of a set-up takes a whole setting's minutes",
        "plan/execute/simulate.py",
        "drafted.minutes - (saw.minutes_per_setting or 0.0) + saw.repeat_minutes",
        "drafted.minutes",
        unit("plan_bolt_holds"),
    ),
    Fault(
        "a bolt stands with its weight beside what carries it",
        "plan/execute/bolt_holds.py",
        "places[carried].min() + CARRIED_SPARE <= weight",
        "places[carried].min() - 100.0 <= weight",
        unit("plan_bolt_holds"),
    ),
    Fault(
        "plates two layers apart are mates",
        "plan/evaluate/judge.py",
        "layers[i + 1] == layers[i] + 1",
        "layers[i + 1] > layers[i]",
        unit("plan_judging"),
    ),
    Fault(
        "loose bookmatched plates bring each what a pair does",
        "plan/evaluate/totals.py",
        "/ (2 if part.bookmatched else 1)",
        "/ 1",
        unit("plan_sets"),
    ),
    Fault(
        "a clearance run is asked where there is plenty of room",
        "plan/execute/machine_setups.py",
        "for check in checks if check.clearance_run)",
        "for check in checks if not check.clearance_run)",
        unit("plan_bolt_holds"),
    ),
    Fault(
        "a season's layout read back has its halves the other way round",
        "yard/season/log_plans.py",
        'layout_from(data["above"]), layout_from(data["below"])',
        'layout_from(data["below"]), layout_from(data["above"])',
        unit("season_log_plans"),
    ),
    Fault(
        "blocks under a cradle are laid a step too low",
        "plan/execute/machine_setups.py",
        "float(np.ceil(short / BLOCK_STEP))",
        "float(np.floor(short / BLOCK_STEP))",
        unit("plan_bolt_holds"),
    ),
    Fault(
        "a cut counted up from a sawn face leaves no room for half its kerf",
        "plan/execute/machine_setups.py",
        "floor + slab.thickness + kerf / 2 + height",
        "floor + slab.thickness + kerf / 20 + height",
        unit("plan_blades"),
    ),
    Fault(
        "the room of the marks is measured from the lowest cut",
        "mill/limits.py",
        "float(mill.blade_max - max(blades))",
        "float(mill.blade_max - min(blades))",
        unit("mill_pose"),
    ),
    Fault(
        "a search that does not see the card's zones of figure",
        "yard/prepared_log.py",
        "self.inputs.card.figures, self.log.model.length",
        "(), self.log.model.length",
        unit("figure_prices"),
    ),
    Fault(
        "a set of figured plates at the price of a plain one",
        "plan/problem/market.py",
        "set_worth[names[k]] * one.factor",
        "set_worth[names[k]]",
        unit("figure_prices"),
    ),
    Fault(
        "figured plates on the search's grid wherever their part passes",
        "plan/programmes/passing.py",
        "low + kinds.parts[p].length * log.axis[0]) == kind",
        "low + kinds.parts[p].length * log.axis[0]) >= 0",
        unit("figure_prices"),
    ),
    Fault(
        "billets of a slab crosscut blind to the zones",
        "plan/execute/slab_fill.py",
        "if len(own) > 1:",
        "if len(own) > 100:",
        unit("figure_prices"),
    ),
    Fault(
        "a figured plate that a plain set takes is sold once more",
        "plan/problem/market.py",
        "spare[narrow] = min(spare[narrow], spare[wide])",
        "spare[narrow] = max(spare[narrow], 0.0)",
        unit("figure_prices"),
    ),
    Fault(
        "the master sells a figured plate that a plain set takes once more",
        "plan/columns/market_model.py",
        "model.add(left[narrow] <= left[wide])",
        "model.add(left[narrow] <= left[wide] + 9)",
        unit("figure_prices"),
    ),
    Fault(
        "plain sets take the most figured plates that are left",
        "plan/execute/sets.py",
        "if _figure(unit) >= least][-self.taken :]",
        "if _figure(unit) >= least][: self.taken]",
        unit("figure_prices"),
    ),
)


def main(asked: list[str]) -> int:
    """Put each fault in, run its tests, and tell; 1 where one went unnoticed or its code is gone."""
    chosen = [one for one in FAULTS if not asked or any(word in one.words for word in asked)]
    wanting = 0
    with package_copy() as folder:
        for fault in chosen:
            mutant = fault.mutant()
            by = "its code is gone" if mutant is None else noticed(mutant, folder, fault.tests)
            wanting += mutant is None or by is None
            print(f"{fault.words}: {by or 'NOTICED BY NONE'}", flush=True)
    print(f"{len(chosen) - wanting} of {len(chosen)} faults noticed")
    return 1 if wanting else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
