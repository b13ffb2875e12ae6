"""Small analytic logs, parts and shops for tests of the planner: perfect models, few parts, coarse grids."""

from dataclasses import replace

import numpy as np

from pithline.files.mills import read_mill
from pithline.mill.products import Limits, Part, Product, Products
from pithline.plan.execute.drawn_poser import DrawnPoser
from pithline.plan.execute.simulate import PieceToSaw, sawn_to_slabs, uncut_log
from pithline.plan.execute.slab_fill import FillRequest
from pithline.plan.problem.context import SearchContext
from pithline.plan.problem.economics import Objective, economics_of
from pithline.plan.problem.effort import COARSE
from pithline.plan.problem.kinds import plate_kinds
from pithline.plan.problem.layout import NO_LOCKS
from pithline.plan.problem.log_frame import plan_log
from pithline.plan.problem.parts import sawn_parts
from pithline.plan.problem.task import SawingTask, plates_wanted
from pithline.plan.search import price_start
from truth.logs import TrueLog
from truth.models import to_model

TRADE = Limits("trade", np.radians(70), np.radians(78), np.radians(3))
STRAIGHT = TrueLog("straight", 600.0, 150.0, taper=0.0, bark=8.0)
BACK = Part("back", 2, 400.0, 110.0, 5.0, True)
RULE = Part("rule", 1, 200.0, 60.0, 8.0, False)
SPECIES = "black walnut"
TINY = replace(COARSE, rolls=4, along_step=50.0, rounds=2, firsts=2, halves=1, master=2.0)
"""Searches more coarsely than any command does."""


def log_of(truth=STRAIGHT, pith_radius=20.0, defects=()):
    """A log that was fitted without error, with 25 mm trims."""
    return plan_log(to_model(truth), pith_radius, 25.0, 25.0, defects)


def doubtful(surface, pith, truth=STRAIGHT):
    """The same, its surface and its pith known only so well. [mm]"""
    model = to_model(truth)
    model = replace(
        model,
        stderr_radius=np.full_like(model.stderr_radius, surface),
        stderr_pith=np.full_like(model.stderr_pith, pith),
    )
    return plan_log(model, 20.0, 25.0, 25.0, ())


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


def shop_of(products, charge=0.3e6, objective=Objective.VOLUME, figures=(), length=STRAIGHT.length, **mill):
    """Bundled machines with another charge a setting [mm³], all that is asked for still wanted; zones of a log of this length."""
    machines = read_mill()
    again = mill.get("least_gain_per_repeat", machines.resaw.least_gain_per_repeat)
    resaw = replace(machines.resaw, least_gain_per_repeat=again)
    machines = replace(machines, mill=replace(machines.mill, least_gain_per_setting=charge, **mill), resaw=resaw)
    parts = sawn_parts(products, SPECIES)
    economics = economics_of(objective, parts, products, machines, plate_kinds(parts, figures, length))
    return SawingTask(machines, parts, economics, plates_wanted(parts))


def context_of(shop, effort=TINY, locks=NO_LOCKS, **more):
    """What is asked of a search, with a fixed seed."""
    return SearchContext(shop, effort, locks=locks, **more)


def fill_of(shop, reserve=True, fine=1.0):
    """How slabs are filled, from the prices that a search begins with."""
    return FillRequest(shop.economics, price_start(shop.economics), reserve, fine)


def carried_out(log, layout, shop, poser=None, reserve=True, cache=None):
    """The ledger of one layout of a whole log, taken as it is drawn where no other poser is named."""
    start = PieceToSaw(log, log.piece, layout, poser or DrawnPoser(log, shop.machines), cache)
    return sawn_to_slabs(uncut_log(), [start], shop).filled(shop, fill_of(shop, reserve))
