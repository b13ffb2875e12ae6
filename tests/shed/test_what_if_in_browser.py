"""A planned log turned by hand in headless Chromium: by keyboard, and what is held goes on to the search."""

from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs
from shed_yard import LONG, ready

PAGE = "/what-if/small?plan=small/plan-1"


def looked_at(page):
    ready(page, PAGE)
    page.wait_for_selector("#turned-to", timeout=LONG)


def turned_to(page, text):
    page.wait_for_function(f"document.querySelector('#turned-to')?.textContent.includes({text!r})", timeout=LONG)


def test_the_log_is_turned_by_keyboard_and_what_follows_is_told(page):
    looked_at(page)
    turned_to(page, "120° of the clock, 4 o'clock")
    page.focus("#turned")
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    turned_to(page, "Turned +4°: 124° of the clock")
    rows = page.locator(".worths tbody tr")
    assert rows.count() == 7 and rows.first.locator("td").count() == 2
    assert "Ring angles of those that pass" in page.inner_text("main") and page.locator(".turned-end svg").count() == 1
    assert page.evaluate("document.activeElement.id") == "turned"  # what is told anew does not take the slider away
    page.click("text=Look closely, and choose cuts anew")
    page.wait_for_selector("p >> text=looked at as finely as it is sawn", timeout=LONG)
    page.click("text=Back to the plan's roll")
    turned_to(page, "Turned +0°")
    assert page.input_value("#turned") == "0"


def test_what_is_held_goes_on_to_the_search(page, yard):
    looked_at(page)
    page.focus("#turned")
    page.keyboard.press("ArrowLeft")
    turned_to(page, "Turned -1°")
    page.select_option("#first-slab", index=3)
    page.wait_for_selector("label >> text=Hold a first slab", timeout=LONG)
    page.click("text=Saw the bolts")
    page.wait_for_selector("label >> text=Leave every bolt whole", timeout=LONG)
    for lock in ("roll", "slab", "bolts"):
        page.check(f"input[value='{lock}']")
    page.wait_for_selector("a[href*='roll_deg=119.0'][href*='first_slab='][href*='bolts=leave']")
    page.click("text=To the search")
    page.wait_for_selector("#held-roll_deg")
    assert page.input_value("#held-roll_deg") == "119.0" and page.input_value("#held-first_slab").endswith(" mm")
    assert page.locator("label", has_text="Leave every bolt whole").locator("input").is_checked()
    assert Jobs(YardFolder(yard)).state("plan", "small") is None  # nothing is searched before it is asked for


def test_what_an_address_fills_in_stays_text(page):
    ready(page, "/plans/small?roll_deg=%22%3E%3Cscript%3Ealert(1)%3C/script%3E&first_slab=x")
    page.wait_for_selector("#held-roll_deg")
    assert page.input_value("#held-roll_deg").startswith('"><script>alert(1)')
    page.click("button >> text=Plan it")
    page.wait_for_selector("#told.fault >> text=write a number")
