"""Mills and product lists of the yard's own: copies made, changed and read back, with comments kept and nothing outside touched."""

import shutil

import pytest

from pithline.errors import InputError
from pithline.files.bundled import bundled, bundled_names
from pithline.files.mills import read_mill
from pithline.files.products import read_products
from pithline.keys.declared import declared_tables
from pithline.mill.machine import Machines
from pithline.mill.products import Limits, Part, Product, Products
from pithline.shed import own_copies
from pithline.shed.folder import YardFolder
from pithline.shed.own_copies import (
    MOST_BYTES,
    ChangedElsewhere,
    make_copy,
    one_less,
    one_more,
    open_own,
    own_names,
    put,
    replace,
)
from pithline.shed.own_form import as_shown, asked_keys, typed_value
from pithline.shed.toml_edit import value_at

MILL = ("mill",)


@pytest.fixture
def yard(tmp_path):
    return YardFolder(tmp_path)


def comments(text):
    return [line.partition("#")[2].strip() for line in text.splitlines() if "#" in line]


def typed(place, key, words):
    """A change as a field of a mill's form sends it."""
    (asked,) = [one for one in asked_keys(declared_tables(Machines)[place[0]], place) if one.key == key]
    return {(asked.place, key): typed_value(asked, words)}


# -- copies -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["mills", "products"])
def test_every_bundled_one_can_be_copied_and_stays_as_it_was(yard, kind):
    for name in bundled_names(kind):
        before = bundled(f"{kind}/{name}.toml").read_bytes()
        own = make_copy(yard, kind, name, f"my {name}")
        assert comments(own.text) == comments(before.decode()) and own.place in yard.choices(kind)
        assert bundled(f"{kind}/{name}.toml").read_bytes() == before
    assert own_names(yard, kind) == sorted(f"my-{name}" for name in bundled_names(kind))


def test_a_copied_mill_bears_its_new_name_and_can_be_copied_on(yard):
    first = make_copy(yard, "mills", "portable", "Hill's mill")
    assert first.name == "Hill-s-mill" and read_mill(yard.root / first.place).mill.name == "Hill's mill"
    second = make_copy(yard, "mills", first.place, "another 2.4")
    assert second.name == "another-2.4" and read_mill(yard.root / second.place).mill.name == "another 2.4"


@pytest.mark.parametrize(
    ("called", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("..\\..\\evil", "evil"),
        ("a<b>c", "a-b-c"),
        (".hidden", "hidden"),
        ("x" * 300, "x" * 60),
    ],
)
def test_a_copys_name_is_never_a_path(yard, called, kept):
    assert make_copy(yard, "products", "ukulele", called).name == kept
    assert [path.relative_to(yard.root).as_posix() for path in yard.root.rglob("*.toml")] == [f"products/{kept}.toml"]


@pytest.mark.parametrize("called", ["", "  ", "../..", "…", "Ω"])
def test_a_copy_needs_a_name(yard, called):
    with pytest.raises(InputError, match="needs a name"):
        make_copy(yard, "mills", "portable", called)
    assert not (yard.root / "mills").exists()


def test_a_name_that_is_taken_is_refused(yard):
    own = make_copy(yard, "mills", "portable", "mine")
    for called in ("mine", "MINE", " mine "):
        with pytest.raises(InputError, match="already"):
            make_copy(yard, "mills", "wide-slabbing", called)
    assert open_own(yard, "mills", "mine").text == own.text


@pytest.mark.parametrize("of", ["../secret", "nobody", "products/guitar.toml", "/etc/passwd", ""])
def test_only_what_the_yard_offers_is_copied(yard, of):
    with pytest.raises(InputError):
        make_copy(yard, "mills", of, "mine")


@pytest.mark.parametrize("name", ["../small", "..", "nobody", "mine.toml", "a/b", ""])
def test_only_the_yards_own_are_opened(yard, name):
    make_copy(yard, "mills", "portable", "mine")
    (yard.root / "small.toml").write_text("[log]\n")
    with pytest.raises(InputError, match="no mill"):
        open_own(yard, "mills", name)
    with pytest.raises(InputError, match="nothing else"):
        open_own(yard, "..", "small")


def test_a_link_out_of_the_yard_is_neither_read_nor_written(yard, tmp_path_factory):
    away = tmp_path_factory.mktemp("away")
    shutil.copy(bundled("mills/portable.toml"), away / "theirs.toml")
    (yard.root / "products").symlink_to(away)
    with pytest.raises(InputError, match="link to another place"):
        make_copy(yard, "products", "guitar", "mine")
    (yard.root / "mills").mkdir()
    (yard.root / "mills" / "theirs.toml").symlink_to(away / "theirs.toml")
    with pytest.raises(InputError, match="link to another place"):
        open_own(yard, "mills", "theirs")
    with pytest.raises(InputError, match="link to another place"):
        make_copy(yard, "mills", "mills/theirs.toml", "mine")
    assert [path.name for path in away.iterdir()] == ["theirs.toml"]


def test_size_and_number_of_copies_are_bounded(yard, monkeypatch):
    own = make_copy(yard, "mills", "portable", "mine")
    with pytest.raises(InputError, match="60 kB"):
        replace(yard, own, own.text + "#" * MOST_BYTES)
    (yard.root / own.place).write_text(own.text + "#" * MOST_BYTES)
    with pytest.raises(InputError, match="60 kB"):
        open_own(yard, "mills", "mine")
    monkeypatch.setattr(own_copies, "MOST_COPIES", 1)
    with pytest.raises(InputError, match="of its own already"):
        make_copy(yard, "mills", "portable", "second")


# -- keys -------------------------------------------------------------------------------------------------------------


def test_a_mill_is_changed_in_the_words_people_type_and_its_comments_stay(yard):
    own = make_copy(yard, "mills", "portable", "mine")
    for place, key, words in (
        (MILL, "kerf", "3/32 in"),
        (MILL, "feed", "5,5 m/min"),
        (MILL, "bunks", "4 in, 30 in,  60 in"),
        (MILL, "hour_rate", "72,5"),
        (MILL, "cradles_deg", "20; 40"),
        (MILL, "cradle_any", "true"),
        (("resaw",), "piece_weight_max", "130 lb"),
        (("buck",), "kerf", "8 mm"),
    ):
        own, merged = put(yard, own, typed(place, key, words))
        assert not merged
    assert comments(own.text) == comments(bundled("mills/portable.toml").read_text(encoding="utf-8"))
    read = read_mill(yard.root / own.place)
    assert read.mill.kerf == pytest.approx(25.4 * 3 / 32) and read.mill.feed == pytest.approx(5500.0)
    assert read.mill.bunks == pytest.approx((101.6, 762.0, 1524.0)) and read.mill.hour_rate == 72.5
    assert read.mill.cradle_any and len(read.mill.cradles_deg) == 2 and read.buck.kerf == 8.0
    assert 'kerf = "3/32 in"' in own.text and "hour_rate = 72.5 " in own.text


def test_a_key_is_taken_out_and_put_in_again(yard):
    own = make_copy(yard, "mills", "portable", "mine")
    own, _ = put(yard, own, typed(MILL, "settings_per_bolt_max", ""))
    assert read_mill(yard.root / own.place).mill.settings_per_bolt_max is None
    own, _ = put(yard, own, typed(("buck",), "kerf", ""))
    assert "[buck]" not in own.text and read_mill(yard.root / own.place).buck.kerf == pytest.approx(3.2)
    own, _ = put(yard, own, typed(("buck",), "kerf", "7 mm"))
    own, _ = put(yard, own, typed(MILL, "settings_per_bolt_max", "4"))
    read = read_mill(yard.root / own.place)
    assert read.buck.kerf == 7.0 and read.mill.settings_per_bolt_max == 4


@pytest.mark.parametrize(
    ("key", "words", "says"),
    [
        ("kerf", "2.4", "kerf .*without a unit"),
        ("kerf", "-2 mm", "more than 0 mm"),
        ("kerf", "", 'needs the key "kerf"'),
        ("kerf", "900 mm", "must be less than throat"),
        ("feed", "6 mm", "feed"),
        ("bunks", "650 mm, 100 mm", "rise along the bed"),
        ("bunks", "100 mm", "at least 2"),
        ("roll_step_deg", "north", "roll step, in degrees .*write a number"),
        ("hour_rate", "nan", "finite"),
        ("settings_per_bolt_max", "2.5", "write a whole number"),
        ("scale_reads", "upper", "values: centre, lower"),
        ("cradle_any", "perhaps", "true or false"),
        ("name", "   ", 'needs the key "name"'),
    ],
)
def test_what_no_command_could_read_is_told_and_not_kept(yard, key, words, says):
    own = make_copy(yard, "mills", "portable", "mine")
    with pytest.raises(InputError, match=says):
        put(yard, own, typed(MILL, key, words))
    assert open_own(yard, "mills", "mine").text == own.text


def test_keys_that_only_hold_together_are_put_together(yard):
    own = make_copy(yard, "products", "guitar", "mine")
    sizes = {((), "sizes"): "finished"}
    with pytest.raises(InputError, match="dry_to_percent"):
        put(yard, own, sizes)
    own, _ = put(yard, own, {**sizes, (("allowance",), "dry_to_percent"): 8})
    assert read_products(yard.root / own.place).dry_to_percent == 8.0
    own, _ = put(yard, own, {((), "sizes"): "green", (("allowance",), "dry_to_percent"): None})
    assert "allowance" not in own.tables() and read_products(yard.root / own.place).sizes == "green"


def test_every_declared_key_is_asked_for_with_its_meaning(yard):
    inner = declared_tables(Machines)
    asked = [one for name, fills in inner.items() for one in asked_keys(fills, (name,))]
    asked += asked_keys(Products, ()) + asked_keys(Product, ("product", 0))
    asked += asked_keys(Part, ("product", 0, "part", 0)) + asked_keys(Limits, ("limits", "trade"))
    assert len(asked) > 60
    for one in asked:
        assert one.label[0].isupper() and "_" not in one.label and len(one.means) > 8 and "`" not in one.means
    kerf = next(one for one in asked if one.place == MILL and one.key == "kerf")
    assert kerf.required and kerf.means == "What its band turns to sawdust." and "mm" in kerf.example


def test_what_a_file_holds_is_shown_as_it_can_be_typed(yard):
    """Every value of every bundled file, shown in its field and typed again, is the same value."""
    for name in bundled_names("mills"):
        own = make_copy(yard, "mills", name, f"my {name}")
        for table, fills in declared_tables(Machines).items():
            for one in asked_keys(fills, (table,)):
                value = value_at(own.tables(), (*one.place, one.key))
                assert typed_value(one, as_shown(value)) == value
    own = make_copy(yard, "products", "guitar", "mine")
    for at, product in enumerate(own.tables()["product"]):
        places = [(Product, ("product", at))]
        places += [(Part, ("product", at, "part", each)) for each in range(len(product["part"]))]
        for fills, place in places:
            for one in asked_keys(fills, place):
                value = value_at(own.tables(), (*place, one.key))
                assert typed_value(one, as_shown(value)) == value


# -- products ---------------------------------------------------------------------------------------------------------


def test_a_product_and_a_part_are_added_changed_and_taken_out(yard):
    own = make_copy(yard, "products", "guitar", "mine")
    own = one_more(yard, own, ("product", 1))
    assert [one["name"] for one in own.tables()["product"]][:4] == [
        "dreadnought guitar",
        "small guitar",
        "small guitar 2",
        "tenor ukulele",
    ]
    own, _ = put(yard, own, {(("product", 2), "name"): "parlour guitar", (("product", 2), "demand"): 3})
    own = one_more(yard, own, ("product", 2, "part", 0))
    own, _ = put(
        yard, own, {(("product", 2, "part", 1), "name"): "wedge", (("product", 2, "part", 1), "width"): "60 mm"}
    )
    made = read_products(yard.root / own.place).products[2]
    assert (made.name, made.demand, [part.name for part in made.parts]) == (
        "parlour guitar",
        3,
        ["back", "wedge", "side"],
    )
    assert made.parts[1].width == 60.0
    assert set(comments(bundled("products/guitar.toml").read_text())) == set(comments(own.text))
    own = one_less(yard, own, ("product", 2, "part", 1))
    own = one_less(yard, own, ("product", 2))
    assert own.tables() == make_copy(yard, "products", "guitar", "untouched").tables()


def test_remarks_between_products_stay_when_one_is_taken_out(yard):
    own = make_copy(yard, "products", "guitar", "mine")
    text = own.text.replace('[[product]]\nname = "tenor', '# what the schools ask for\n[[product]]\nname = "tenor')
    own = one_less(yard, replace(yard, own, text), ("product", 1))
    assert own.tables()["product"][1]["name"] == "tenor ukulele" and "# what the schools ask for" in own.text


def test_the_last_product_and_the_last_part_stay(yard):
    own = make_copy(yard, "products", "small-parts", "mine")
    with pytest.raises(InputError, match="part"):
        one_less(yard, own, ("product", 0, "part", 0))
    for _ in range(6):
        own = one_less(yard, own, ("product", 0))
    with pytest.raises(InputError, match="product"):
        one_less(yard, own, ("product", 0))
    assert len(open_own(yard, "products", "mine").tables()["product"]) == 1


def test_a_file_laid_out_otherwise_is_changed_as_text_only(yard):
    own = make_copy(yard, "products", "small-parts", "mine")
    inline = """sizes = "green"
product = [{name = "peg", price = 2, part = [{name = "peg", count = 1, length = "90 mm", width = "20 mm", thickness = "20 mm"}]}]
[limits]
trade = {ring_angle_min_deg = 60, ring_angle_mean_deg = 70, runout_max_deg = 3}
"""
    own = replace(yard, own, inline)
    own, _ = put(yard, own, {(("product", 0), "price"): 3, (("limits", "trade"), "slope_max_deg"): 5})
    assert read_products(yard.root / own.place).products[0].price == 3.0
    with pytest.raises(InputError, match="as text"):
        one_more(yard, own, ("product", 0))
    assert open_own(yard, "products", "mine").text == own.text


def test_what_only_looks_like_a_table_is_not_taken_for_one(yard):
    """A text of several lines may hold what a table begins with: then nothing is changed but by hand."""
    own = make_copy(yard, "products", "small-parts", "mine")
    remark = 'currency = """\ncrowns\n[[product]]\n"""\n'
    own = replace(yard, own, own.text.replace("sizes =", f"{remark}sizes =", 1))
    for change in (one_more, one_less):
        with pytest.raises(InputError, match="change it as text"):
            change(yard, own, ("product", 0))
    assert open_own(yard, "products", "mine").text == own.text


# -- two at once ------------------------------------------------------------------------------------------------------


def test_two_pages_on_one_copy_do_not_overwrite_each_other(yard):
    seen = make_copy(yard, "products", "guitar", "mine")
    put(yard, seen, {(("product", 1), "price"): 155})
    with pytest.raises(ChangedElsewhere, match="changed elsewhere"):
        put(yard, seen, {(("product", 1), "price"): 140})
    own, merged = put(yard, seen, {(("product", 1), "demand"): 2})
    assert merged and own.tables()["product"][1]["price"] == 155 and own.tables()["product"][1]["demand"] == 2
    for change in (lambda: replace(yard, seen, seen.text), lambda: one_less(yard, seen, ("product", 0))):
        with pytest.raises(ChangedElsewhere):
            change()
    assert open_own(yard, "products", "mine").text == own.text


def test_a_key_of_another_product_is_not_changed_once_one_was_taken_out(yard):
    seen = make_copy(yard, "products", "guitar", "mine")
    one_less(yard, seen, ("product", 0))
    now = open_own(yard, "products", "mine")
    assert [one.tables()["product"][1]["limits"] for one in (seen, now)] == [
        "trade",
        "trade",
    ]  # alike, but of two products
    with pytest.raises(ChangedElsewhere):
        put(yard, seen, {(("product", 1), "limits"): "fine"})
    assert open_own(yard, "products", "mine").text == now.text


@pytest.mark.parametrize("words", ['"]\n[evil]\nx = "1', "'''", "\\u0000", "a\tb # c", "<img src=x onerror=alert(1)>"])
def test_hostile_words_stay_words(yard, words):
    own = make_copy(yard, "mills", "portable", "mine")
    own, _ = put(yard, own, {(MILL, "name"): words})
    assert set(own.tables()) == {"mill", "resaw", "rip", "crosscut", "buck"} and own.tables()["mill"]["name"] == words


@pytest.mark.parametrize("text", ["", "[mill", "[log]\nid = 1\n", "a = " + "[" * 3000, "\x00"])
def test_what_is_no_mill_is_refused_as_text_and_told_when_it_lies_there(yard, text):
    own = make_copy(yard, "mills", "portable", "mine")
    with pytest.raises(InputError):
        replace(yard, own, text)
    (yard.root / own.place).write_text(text)
    lies = open_own(yard, "mills", "mine")
    assert lies.fault and str(yard.root) not in lies.fault and "/tmp" not in lies.fault
    with pytest.raises(InputError):
        put(yard, lies, {(MILL, "kerf"): "2 mm"})
    with pytest.raises(InputError):
        make_copy(yard, "mills", own.place, "second")
    assert replace(yard, lies, own.text).fault == ""
