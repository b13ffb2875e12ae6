"""The product lists that come with the package: sizes, their sources, what drying leaves to sand, sapwood, prices."""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass

import pytest

from pithline.files.bundled import bundled, bundled_names
from pithline.files.product_lists import put_together, read_lists
from pithline.files.products import products_as_read, products_from, read_products
from pithline.logmodel.species import SPECIES, Species, species_of
from pithline.plan.api import sawn_parts
from pithline.trade.shrinkage import face_shrinkage, shrinkage_at

NAMES = tuple(bundled_names("products"))
WANTED = {
    "banjo", "classical-guitar", "dulcimer", "electric", "guitar", "mandolin", "necks", "sapwood-feature", "small-parts",
    "steel-string-guitar", "ukulele",
}  # fmt: skip
DRY = 8.0
"""Moisture that the lists' headers name. [percent]"""
FINISHED = re.compile(r"\[\[product\.part\]\]\s+# finished ([\d.]+) x ([\d.]+) x ([\d.]+) mm: (.+)")
SOURCES = (
    "common practice, no source",
    "a tonewood dealer's catalogue",
    "a builder's size",
    "a neck-blank dealer's size",
)


@dataclass(frozen=True, slots=True)
class Stated:
    """A part's green and finished size as its list states them [mm], and where the latter comes from."""

    where: str
    limits: str
    green: tuple[float, float, float]
    finished: tuple[float, float, float]
    source: str


def stated(name: str) -> list[Stated]:
    text = bundled(f"products/{name}.toml").read_text(encoding="utf-8")
    comments = [FINISHED.match(line) for line in text.splitlines() if line.startswith("[[product.part]]")]
    parts = [(product, part) for product in tomllib.loads(text)["product"] for part in product["part"]]
    assert len(comments) == len(parts)
    out = []
    for comment, (product, part) in zip(comments, parts, strict=True):
        where = f"{name}: {product['name']} {part['name']}"
        assert comment is not None, f"{where}: no finished size with its source"
        green = tuple(float(part[key].removesuffix(" mm")) for key in ("length", "width", "thickness"))
        finished = tuple(float(comment[i]) for i in (1, 2, 3))
        out.append(Stated(where, part.get("limits", product["limits"]), green, finished, comment[4]))  # type: ignore[arg-type]
    return out


def test_lists_are_there_for_what_such_a_mill_sells():
    assert set(NAMES) == WANTED


@pytest.mark.parametrize("name", NAMES)
def test_every_list_reads_and_survives_the_script(name):
    products = read_products(name)
    assert products == products_from(products_as_read(bundled(f"products/{name}.toml")))
    assert all(product.price > 0.0 for product in products.products)


@pytest.mark.parametrize("name", NAMES)
def test_every_size_names_its_source(name):
    for part in stated(name):
        assert part.source.endswith(SOURCES) or any(source in part.source for source in SOURCES), part.where


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("species", ["black walnut", "black cherry", "sugar maple", "koa", "mahogany"])
def test_drying_leaves_something_to_sand(name, species):
    """0.4 mm a face of thickness at 8 %, tangential shrinkage: Wood Handbook Table 4-3 and its linear rule, by species.toml."""
    loss = shrinkage_at(species_of(species).shrink_tangential, DRY)
    for part in stated(name):
        left = part.green[2] * (1.0 - loss) - part.finished[2]
        assert left >= 0.8 - 1e-9, f"{part.where}: {left:.2f} mm in {species}"


def moves_no_more_than_maple(species: Species) -> bool:
    return species.shrink_tangential <= species_of("sugar maple").shrink_tangential


def test_woods_that_move_more_are_those_that_the_lists_name():
    assert {one.name for one in SPECIES.values() if not moves_no_more_than_maple(one)} == {"white oak", "beech"}


def test_five_millimetres_of_walnut_leave_a_tenth():
    """The size once bundled for 4.5 mm backs: 5 mm × (1 − 0.0572) = 4.714 mm, by hand."""
    left = 5.0 * (1.0 - shrinkage_at(species_of("black walnut").shrink_tangential, DRY)) - 4.5
    assert left / 2 == pytest.approx(0.107, abs=0.001)


@pytest.mark.parametrize("name", NAMES)
def test_width_and_length_are_left_too(name):
    """Walnut at the mean ring angle that a part's limits allow; 30 mm of length for squaring and end checks."""
    products, walnut = read_products(name), species_of("black walnut")
    limits = {one.name: one for one in products.limits}
    radial, tangential = (shrinkage_at(s, DRY) for s in (walnut.shrink_radial, walnut.shrink_tangential))
    for part in stated(name):
        width, _ = face_shrinkage(limits[part.limits].ring_angle_mean, radial, tangential)
        assert part.green[1] * (1.0 - width) >= part.finished[1], part.where
        assert part.green[0] - part.finished[0] >= 30.0, part.where


@pytest.mark.parametrize("name", NAMES)
def test_every_limit_list_states_sapwood_and_slope(name):
    for key, table in tomllib.loads(bundled(f"products/{name}.toml").read_text(encoding="utf-8"))["limits"].items():
        assert "sapwood" in table and "slope_max_deg" in table, f"{name}: {key}"


def test_planner_holds_each_part_to_its_own_limits():
    parts = {part.key: part for part in sawn_parts(read_products(), "black walnut")}
    back, side = parts["dreadnought guitar", "back"].limits, parts["dreadnought guitar", "side"].limits
    assert (back.sapwood, back.sapwood_edge, side.sapwood) == ("edge", 20.0, "none")
    assert side.slope_max == pytest.approx(math.radians(6))
    assert parts["fingerboard", "fingerboard"].limits.slope_max == pytest.approx(math.radians(4))


@pytest.mark.parametrize("name", NAMES)
def test_plates_left_over_are_worth_less_than_their_set(name):
    for product in read_products(name).products:
        loose = sum(part.loose_price * part.count / (2 if part.bookmatched else 1) for part in product.parts)
        assert loose < 0.75 * product.price, product.name


def test_all_lists_compete_in_one_plan():
    together = put_together(read_lists(["all"]))
    names = [product["name"] for product in together["product"]]
    assert not [name for name in names if name.endswith(")")], "the same name stands for two things"
    assert len(names) == len(set(names))
    own = {product["name"] for one in read_lists(["all"]) for product in one.read["product"]}
    assert set(names) == own
    products_from(together)


def test_of_two_demands_the_greater_counts():
    demands = {
        product["name"]: product.get("demand") for product in put_together(read_lists(["guitar", "necks"]))["product"]
    }
    assert demands["guitar neck"] == 8 and demands["fingerboard"] == 6 and demands["small guitar"] is None
