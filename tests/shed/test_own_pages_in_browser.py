"""Mills and product lists of the yard's own, in headless Chromium: begun, changed as a form and as text, and planned with."""

import pytest

from pithline.files.bundled import bundled
from pithline.files.mills import read_mill
from pithline.files.products import read_products
from shed_yard import PHONE, ready, settled

MILL = "/own/mills/my-mill?log=small"
LIST = "/own/products/my-guitars"


def put_in(page, name, text):
    page.fill(f"#{name}", text)
    page.keyboard.press("Tab")


def test_from_the_plan_page_to_an_own_mill_and_back(page, yard):
    before = bundled("mills/wide-slabbing.toml").read_bytes()
    ready(page, "/plans/small")
    page.click("summary >> text=Plan it again")
    page.select_option("#mill", "wide-slabbing")
    page.click("#own-mills")
    page.wait_for_selector("h1 >> text=Mills and product lists")
    assert page.input_value("#mills-of") == "wide-slabbing"
    page.click("#mills-make")
    page.wait_for_selector("#told.fault >> text=needs a name")
    put_in(page, "mills-called", "../<b>Far hill")
    page.click("#mills-make")
    page.wait_for_selector("h1 >> text=b Far hill")
    put_in(page, "mill-hour_rate", "88")
    page.wait_for_selector("#told >> text=Hour rate: kept in mills/b-Far-hill.toml")
    page.click(".next >> text=Plan small with it")
    page.wait_for_selector("#mill")
    assert page.input_value("#mill") == "mills/b-Far-hill.toml"
    read = read_mill(yard / "mills" / "b-Far-hill.toml").mill
    assert (read.hour_rate, read.name) == (88.0, "../<b>Far hill")
    assert bundled("mills/wide-slabbing.toml").read_bytes() == before
    (yard / "mills" / "b-Far-hill.toml").unlink()


def test_a_fault_is_told_as_it_is_typed_and_not_kept(page, yard):
    ready(page, MILL)
    settled(page)
    page.focus("#mill-kerf")
    page.keyboard.press("Control+A")
    page.keyboard.type("2.4")
    page.wait_for_selector(".error >> text=without a unit")  # while it is being typed
    page.keyboard.type(" mm")
    page.wait_for_selector(".error >> text=without a unit", state="hidden")
    page.keyboard.press("Tab")
    page.wait_for_selector("#told >> text=Kerf: kept")
    put_in(page, "mill-throat", "1 mm")
    page.wait_for_selector(".error >> text=must be less than throat")
    read = read_mill(yard / "mills" / "my-mill.toml").mill
    assert (read.kerf, read.throat) == (2.4, 380.0)
    assert 'kerf = "2.4 mm"' in (yard / "mills" / "my-mill.toml").read_text()


def test_what_holds_only_together_is_kept_once_both_are_there(page, yard):
    ready(page, MILL)
    settled(page)
    put_in(page, "mill-blade_min", "840 mm")
    page.wait_for_selector(".error >> text=blade_min (840 mm) must be less than blade_max")
    put_in(page, "mill-blade_max", "900 mm")
    page.wait_for_selector("#told >> text=Blade max: kept")
    assert page.locator(".error:visible").count() == 0
    read = read_mill(yard / "mills" / "my-mill.toml").mill
    assert (read.blade_min, read.blade_max) == (840.0, 900.0)
    put_in(page, "mill-blade_min", "25 mm")
    page.wait_for_selector("#told >> text=Blade min: kept")


def test_the_form_is_worked_by_keyboard(page, yard):
    ready(page, LIST)
    settled(page)
    page.focus("#product-3-head")
    page.keyboard.press("Enter")
    page.wait_for_selector("#product-3-price")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "product-3-name"
    page.keyboard.press("Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("47,5")
    page.keyboard.press("Tab")
    page.wait_for_selector("#product-3-head >> text=guitar neck: 47.5 a set")
    assert page.evaluate("document.activeElement.id") == "product-3-limits"
    assert read_products(yard / "products" / "my-guitars.toml").products[3].price == 47.5


def test_products_and_parts_are_added_changed_and_taken_out(page, yard):
    path = yard / "products" / "my-guitars.toml"
    ready(page, LIST)
    settled(page)
    page.click("#product-2-head")
    page.click("#product-2-more")
    page.wait_for_selector("#product-3-head >> text=tenor ukulele 2: 48 a set, 4 wanted, 2 parts")
    page.wait_for_selector("#product-3-name")  # the new one is open
    put_in(page, "product-3-name", "<img src=x onerror=alert(1)>")
    page.wait_for_selector("#product-3-head >> text=<img src=x")  # what people write stays text
    page.select_option("#product-3-limits", "fine")
    page.wait_for_selector("#told >> text=Limits: kept")
    page.click("#product-3-part-1-less")
    page.wait_for_selector("#product-3-part-1-name", state="detached")
    put_in(page, "product-3-part-0-width", "5 1/2 in")
    page.wait_for_selector("#told >> text=Width: kept")
    made = read_products(path).products[3]
    assert (made.name, made.limits, [one.name for one in made.parts]) == (
        "<img src=x onerror=alert(1)>",
        "fine",
        ["back"],
    )
    assert made.parts[0].width == pytest.approx(139.7)
    page.click("#product-3-less")
    page.wait_for_selector("#product-3-head >> text=guitar neck")
    assert [one.name for one in read_products(path).products][2:4] == ["tenor ukulele", "guitar neck"]


def test_two_pages_on_one_copy_tell_each_other(page, yard):
    ready(page, MILL)
    settled(page)
    other = page.context.new_page()
    other.goto(page.base + MILL)
    other.wait_for_selector("#mill-feed")
    settled(other)
    put_in(other, "mill-feed", "7 m/min")
    other.wait_for_selector("#told >> text=Feed: kept")
    put_in(page, "mill-feed", "3 m/min")
    page.wait_for_selector("#told.fault >> text=feed was changed elsewhere meanwhile")
    page.wait_for_function("document.querySelector('#mill-feed').value === '7 m/min'")
    put_in(other, "mill-throat", "390 mm")
    other.wait_for_selector("#told >> text=Throat: kept")
    put_in(page, "mill-lift_max", "160 mm")
    page.wait_for_function("document.querySelector('#mill-throat').value === '390 mm'")  # what came from the other page
    read = read_mill(yard / "mills" / "my-mill.toml").mill
    assert (read.feed, read.throat, read.lift_max) == (7000.0, 390.0, 160.0)


def test_the_file_is_changed_as_text_and_checked_as_typed(page, yard):
    path = yard / "mills" / "my-mill.toml"
    ready(page, MILL)
    page.click("text=See it as text")
    page.wait_for_selector("#text")
    settled(page)
    text = page.input_value("#text")
    assert text == path.read_text() and "It can be read." in page.inner_text("#verdict")
    page.fill("#text", text.replace("clamp_room", "clamp_rom"))
    page.wait_for_selector('#verdict.fault >> text=did you mean "clamp_room"')
    page.click("#keep")
    page.wait_for_selector("#told.fault >> text=clamp_room")
    assert path.read_text() == text
    page.fill("#text", text + "# checked in May\n")
    page.wait_for_selector("#verdict.note >> text=not kept yet")
    page.click("#keep")
    page.wait_for_selector("#told >> text=Kept in mills/my-mill.toml")
    assert path.read_text().endswith("# checked in May\n")
    path.write_text(text)
    page.fill("#text", text + "# and in June\n")
    page.click("#keep")
    page.wait_for_selector("#told.fault >> text=changed elsewhere")
    assert path.read_text() == text and "in June" in page.input_value("#text")


def test_a_file_that_no_command_could_read_says_so_and_is_mended_as_text(page, yard):
    path = yard / "mills" / "broken.toml"
    path.write_text(bundled("mills/portable.toml").read_text().replace('kerf = "2 mm"', 'kerf = "<script>alert(1)"', 1))
    ready(page, "/own/mills/broken")
    page.wait_for_selector('.fault >> text=kerf is "<script>alert(1)"')
    page.click("text=Mend it as text")
    page.wait_for_selector("#verdict.fault")
    path.unlink()


def test_a_fault_is_in_sight_on_a_phone(page):
    page.set_viewport_size(PHONE)
    ready(page, MILL)
    settled(page)
    page.focus("#mill-clamp_room")
    page.keyboard.press("Control+A")
    page.keyboard.type("30")
    told = page.wait_for_selector(".error >> text=without a unit")
    settled(page)
    bar = page.locator(".next").bounding_box()
    box = told.bounding_box()
    assert box["y"] >= 0 and box["y"] + box["height"] <= bar["y"]
