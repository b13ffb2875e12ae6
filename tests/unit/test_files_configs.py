"""Mill, products and practice files: the bundled ones, and messages for bad ones."""

import math

import pytest

from pithline.errors import InputError
from pithline.files.bundled import bundled, bundled_names
from pithline.files.mills import mill_as_read, mill_from, read_mill
from pithline.files.practice import read_practice
from pithline.files.products import read_products

MILLS = ("mills/portable.toml", "mills/wide-slabbing.toml")
PRODUCTS = tuple(f"products/{name}.toml" for name in bundled_names("products"))
DEFAULT = "products/guitar.toml"


@pytest.mark.parametrize("name", MILLS)
def test_bundled_mills_charge_settings_and_allow_three_a_bolt(name):
    machines = read_mill(bundled(name))
    assert machines.mill.least_gain_per_setting >= 0.3e6
    assert machines.mill.settings_per_bolt_max == 3
    assert machines.resaw.kerf < machines.mill.kerf
    assert mill_from(mill_as_read(bundled(name))) == machines


def test_portable_mill_is_the_default():
    mill = read_mill().mill
    assert mill == read_mill(bundled(MILLS[0])).mill
    assert mill.feed == 6000.0 and mill.roll_step == pytest.approx(math.radians(2.5))
    assert mill.log_diameter_max >= 700.0 and mill.log_length_max >= 3000.0


def test_default_products_hold_the_three_limit_lists():
    products = read_products()
    assert products == read_products(bundled(DEFAULT))
    found = {
        one.name: tuple(
            round(math.degrees(a), 9) for a in (one.ring_angle_min, one.ring_angle_mean, one.runout_max, one.slope_max)
        )
        for one in products.limits
    }
    qualities = {"trade": (70, 78, 3), "instrument": (60, 75, 3), "fine": (75, 82, 1.5)}
    slopes = {"": 6, "-sides": 6, "-necks": 4}
    assert found == {name + of: (*three, slope) for name, three in qualities.items() for of, slope in slopes.items()}
    assert {products.limits_of(one).name for one in products.products} == {"trade", "trade-necks"}


@pytest.mark.parametrize("name", PRODUCTS)
def test_bundled_small_parts_and_blocks_have_a_demand(name):
    """Unlimited small thick parts would crowd out the backs (they waste less kerf)."""
    for product in read_products(bundled(name)).products:
        if {part.name for part in product.parts} & {"fingerboard", "bridge", "headplate", "neck block", "body half"}:
            assert product.demand is not None


def test_even_counts_are_bookmatched_unless_said_otherwise():
    parts = {part.name: part.bookmatched for product in read_products().products for part in product.parts}
    assert parts["back"] and parts["side"] and not parts["fingerboard"]


def test_practice_sizes():
    practice = read_practice()
    assert (practice.centre_slab, practice.half_slab, practice.flitch) == (100.0, 75.0, 50.0)
    assert practice.flitches == (2, 3)


def changed(folder, name, old, new):
    text = bundled(name).read_text(encoding="utf-8")
    assert old in text
    path = folder / "mine.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'kerf = "2 mm"',
            "kerf = 2.5",
            '[mill] kerf is 2.5 without a unit; write it as text, such as kerf = "2.5 mm".',
        ),
        ('kerf = "2 mm"', 'kerf = "0 mm"', '[mill] kerf is "0 mm"; it must be more than 0 mm.'),
        ('throat = "380 mm"', "", '[mill] needs the key "throat"; add it.'),
        ('throat = "380 mm"', 'throa = "380 mm"', '[mill] has no key "throa"; did you mean "throat"?'),
        (
            'blade_max = "820 mm"',
            'blade_max = "20 mm"',
            "[mill] blade_min (25 mm) must be less than blade_max (20 mm).",
        ),
        ('"650 mm"', '"50 mm"', "[mill] bunks must rise along the bed, each position once."),
        ('"2850 mm"', '"1e9 m"', '[mill] bunks is "1e9 m"; it must be at most 100000 mm.'),
        ('bunks = ["100 mm"', 'bunks = ["-1 m"', '[mill] bunks is "-1 m"; it must be at least 0 mm.'),
        ('lift_max = "150 mm"', 'lift_max = "1e9 m"', '[mill] lift_max is "1e9 m"; it must be at most 1e+06 mm.'),
        ('bunks = ["100 mm", ', 'bunks = ["9 m"] #', "[mill] bunks has 1 values; it needs at least 2."),
        ("roll_step_deg = 2.5", "roll_step_deg = 0", "[mill] roll_step_deg is 0; it must be more than 0."),
        ("settings_per_bolt_max = 3", "settings_per_bolt_max = 2.5", "[mill] settings_per_bolt_max must be a whole"),
        ("settings_per_bolt_max = 3", "settings_per_bolt_max = 0", "[mill] settings_per_bolt_max is 0; it must be at"),
        ('scale_reads = "centre"', 'scale_reads = "top"', '[mill] scale_reads is "top"; known values: centre, lower.'),
        ('lift_max = "150 mm"', 'lift_max = "1 mm"', "[mill] lift_step is more than lift_max"),
        ('feed = "6 m/min"', 'feed = "6 m"', '[mill] feed is "6 m", which is no rate'),
        ('piece_weight_max = "60 kg"', "piece_weight_max = 60", "[resaw] piece_weight_max is 60 without a unit"),
        ("[resaw]", "[resow]", 'the file has no table "resow"; did you mean "resaw"?'),
    ],
)
def test_bad_mills(tmp_path, old, new, message):
    path = changed(tmp_path, MILLS[0], old, new)
    with pytest.raises(InputError) as caught:
        read_mill(path)
    assert str(caught.value).startswith(f"{path}: {message}")


def test_without_a_buck_table_the_crosscut_kerf_holds(tmp_path):
    path = changed(tmp_path, MILLS[0], "[buck]", "#")
    text = path.read_text(encoding="utf-8").replace('kerf = "9 mm"', "")
    path.write_text(text, encoding="utf-8")
    assert read_mill(path).buck.kerf == read_mill(path).crosscut.kerf == 3.2


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('sizes = "green"', 'sizes = "finished"', "[allowance] needs dry_to_percent"),
        ('sizes = "green"', 'sizes = "dry"', 'sizes is "dry"; known values: green, finished.'),
        ('sizes = "green"', '[allowance]\nsurfacing = "1 mm"', '[allowance] goes with sizes = "finished" only'),
        ("ring_angle_mean_deg = 78", "ring_angle_mean_deg = 60", "[limits.trade] ring_angle_mean_deg is less than"),
        (
            "ring_angle_min_deg = 70",
            "ring_angle_min_deg = 95",
            "[limits.trade] ring_angle_min_deg is 95; it must be at",
        ),
        ('sapwood_edge = "20 mm"', "", "[limits.trade] needs sapwood_edge"),
        ('limits = "trade"\n\n', 'limits = "trad"\n\n', '[[product]] "dreadnought guitar" asks for limits "trad"; did'),
        ("price = 180", "price = -1", "[product 1] price is -1; it must be at least 0."),
        (
            "count = 2",
            "count = 3\nbookmatched = true",
            '[[product]] "dreadnought guitar" part "back" is bookmatched, but',
        ),
        ("count = 2", "count = 0", "[product 1.part 1] count is 0; it must be at least 1."),
        ('width = "227 mm"', 'width = "700 mm"', '[[product]] "dreadnought guitar" part "back" must have length ≥'),
        ('name = "small guitar"', 'name = "dreadnought guitar"', '[[product]] uses the name "dreadnought guitar" 2'),
        ('length = "610 mm"', "length = 610", "[product 1.part 1] length is 610 without a unit"),
    ],
)
def test_bad_products(tmp_path, old, new, message):
    path = changed(tmp_path, DEFAULT, old, new)
    with pytest.raises(InputError) as caught:
        read_products(path)
    assert str(caught.value).startswith(f"{path}: {message}")


def test_finished_sizes(tmp_path):
    path = changed(
        tmp_path,
        DEFAULT,
        'sizes = "green"',
        'sizes = "finished"\n[allowance]\ndry_to_percent = 8\nsurfacing = "0.5 mm"\n#',
    )
    products = read_products(path)
    assert products.sizes == "finished" and products.dry_to_percent == 8.0 and products.surfacing == 0.5
