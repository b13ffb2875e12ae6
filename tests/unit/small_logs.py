"""Small analytic logs, parts and shops for tests of the planner: perfect models, few parts, coarse grids."""

from dataclasses import replace

import numpy as np

from pithline.files.mills import read_mill
from pithline.mill.products import Limits, Part, Product, Products
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.effort import COARSE
from pithline.plan.problem.layout import NO_LOCKS
from pithline.plan.problem.log_frame import plan_log
from pithline.plan.problem.objective import Objective
from pithline.plan.problem.parts import sawn_parts
from pithline.plan.problem.task import SawingTask, plates_wanted
from truth.logs import TrueLog
from truth.models import to_model

TRADE = Limits("trade", np.radians(70), np.radians(78), np.radians(3))
STRAIGHT = TrueLog("straight", 600.0, 150.0, taper=0.0, bark=8.0)
BACK = Part("back", 2, 400.0, 110.0, 5.0, True)
RULE = Part("rule", 1, 200.0, 60.0, 8.0, False)


def log_of(truth=STRAIGHT, pith_radius=20.0, defects=()):
    """A log that was fitted without error, with 25 mm trims."""
    return plan_log(to_model(truth), pith_radius, 25.0, 25.0, defects)


def products_of(*parts, limits=TRADE, demands=None, price=10.0):
    """One product of each part, green sizes."""
    demands = demands or [None] * len(parts)
    return Products(
        "green",
        (limits,),
        tuple(
            Product(part.name, price, limits.name, (part,), demand) for part, demand in zip(parts, demands, strict=True)
        ),
    )


def shop_of(products, charge=0.3e6, **mill):
    """Bundled machines with another charge a setting [mm³], all that is asked for still wanted, plates worth litres."""
    machines = read_mill()
    machines = replace(machines, mill=replace(machines.mill, least_gain_per_setting=charge, **mill))
    parts = sawn_parts(products, "black walnut")
    return SawingTask(machines, parts, Objective.VOLUME.worth(parts), plates_wanted(parts))


def context_of(shop, objective=Objective.VOLUME, effort=COARSE, locks=NO_LOCKS):
    """What is asked of a search, with a fixed seed."""
    return SearchContext(shop, objective, effort, locks=locks)

