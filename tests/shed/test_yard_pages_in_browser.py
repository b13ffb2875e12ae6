"""What a log is good for, appraisal and season in headless Chromium, over files that the commands write."""

import subprocess
import sys
import time
from dataclasses import replace

import pytest

from pithline.files.csv_rows import read_cells
from pithline.files.orders import ORDERS
from pithline.shed.folder import YardFolder
from pithline.shed.jobs import Jobs, JobState, write_state
from shed_yard import LONG, PHONE, ready, settled


@pytest.fixture
def at_work(yard):
    """Stands in for a process that works on something of the yard."""
    started = []

    def begin(kind, log, what):
        process = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(120)", "pithline.shed.worker"])
        started.append((kind, log, process))
        jobs = Jobs(YardFolder(yard))
        write_state(
            jobs.path(kind, log), JobState(kind, log, what=what, part=0.4, pid=process.pid, started=time.time())
        )
        return jobs

    yield begin
    for kind, log, process in started:
        process.kill()
        process.wait()
        Jobs(YardFolder(yard)).path(kind, log).unlink()


# -- what a log is good for -------------------------------------------------------------------------------------------


def test_lists_stand_by_what_they_bring_and_tell_what_is_in_the_way(page):
    ready(page, "/good-for/af-12")
    page.wait_for_selector(".worths tbody tr")
    assert page.locator(".worths tbody th").all_inner_texts()[0] == "small"
    assert "In its way: backs need 260 mm" in page.inner_text(".note")
    assert page.locator("h2 >> text=Parts that do not fit").count() == 1
    assert page.locator(".worths a").evaluate_all("all => all.map((one) => one.ariaLabel)") == ["Plan it for small"]
    assert page.locator(".next a").first.get_attribute("href") == "/plans/af-12?products=small"
    page.set_viewport_size(PHONE)
    assert page.evaluate("getComputedStyle(document.querySelector('.worths td')).display") == "block"


def test_lists_that_were_chosen_go_on_to_the_search(page):
    ready(page, "/plans/af-12?products=ukulele,banjo,nobody,%3Cb%3E")
    page.wait_for_selector(".lists input")
    assert page.locator(".lists input:checked").evaluate_all("all => all.map((one) => one.value)") == [
        "banjo",
        "ukulele",
    ]


def test_looking_tells_how_far_it_is_and_can_be_stopped(page, at_work):
    jobs = at_work("weigh", "af-12", "what the log is good for: guitar")
    ready(page, "/good-for/af-12")
    page.wait_for_selector("text=What the log is good for: guitar, begun at")
    page.evaluate("window.touched = document.querySelector('button.stop')")
    state = jobs.state("weigh", "af-12")
    write_state(jobs.path("weigh", "af-12"), replace(state, what="what the log is good for: banjo", part=0.7))
    page.wait_for_selector("text=What the log is good for: banjo, begun at")
    assert page.evaluate("touched.isConnected")  # a button that is drawn anew under a finger hears no touch
    page.click("button >> text=Stop")
    page.wait_for_selector("#told >> text=Stopping")
    assert jobs.path("weigh", "af-12").with_suffix(".stop").exists()


def test_work_on_one_log_leaves_the_others_of_the_yard_as_they_stand(page, at_work):
    ready(page, "/")
    page.wait_for_selector("#log-small a")
    page.evaluate("window.touched = document.querySelector('#log-small a')")
    jobs = at_work("plan", "af-12", "searching, any angle")
    page.wait_for_selector("#log-af-12 >> text=Being planned: searching, any angle")
    assert page.evaluate("touched.isConnected")
    page.evaluate("window.touched = document.querySelector('#log-af-12 a')")
    write_state(jobs.path("plan", "af-12"), replace(jobs.state("plan", "af-12"), what="refining", part=0.8))
    page.wait_for_selector("#log-af-12 >> text=Being planned: refining")
    assert page.evaluate("touched.isConnected")  # its own links stay as well


def test_a_log_without_a_scan_cannot_be_looked_at(page):
    ready(page, "/good-for/small")
    page.wait_for_selector(".fault >> text=Only a log with a card and a scan")


# -- appraisal --------------------------------------------------------------------------------------------------------


def test_a_lot_stands_as_cards_with_bid_doubt_and_picture(page):
    ready(page, "/appraisal")
    page.wait_for_selector(".lot li.worth .seen img")
    assert page.locator(".lot > li").count() == 5
    best = page.locator(".lot > li").first
    assert "Bid up to 400" in best.inner_text() and "earns -20 to" in best.inner_text().lower().replace("−", "-")
    assert page.evaluate("[...document.querySelectorAll('.seen img')].every((e) => e.complete && e.naturalWidth > 0)")
    assert "a <nail>" in best.inner_text()  # what a card says stays text
    assert "Not appraised: it is 4000 mm long" in page.locator(".lot > li.failed").inner_text()


def test_the_whole_report_is_given(page):
    ready(page, "/appraisal")
    href = page.locator("a >> text=The whole report").get_attribute("href")
    answer = page.request.get(page.base + href)
    assert answer.ok and "What 5 logs are worth" in answer.text()


def test_what_cannot_be_appraised_is_told_at_once(page):
    ready(page, "/appraisal")
    page.fill("#margin", "lots")
    page.keyboard.press("Tab")
    page.click("text=Appraise them")
    page.wait_for_selector("#told.fault >> text=write a number")
    for box in page.locator("input[value='small'], input[value='af-12']").all():
        box.uncheck()
    page.click("text=Appraise them")
    page.wait_for_selector("#told.fault >> text=no log is chosen")


def test_a_log_by_tape_is_put_into_the_yard(page, yard):
    ready(page, "/appraisal")
    page.click("summary >> text=A log that is known by tape alone")
    page.fill("#taped-name", "<i>row 9")
    page.fill("#taped-length", "2.3 m")
    page.fill("#taped-girth_butt", "84 in")
    page.keyboard.press("Tab")
    page.click("text=Put it into the yard")
    page.wait_for_selector("#told.fault >> text=lacks girth_top", timeout=LONG)
    page.fill("#taped-girth_top", "2080 mm")
    page.keyboard.press("Tab")
    page.click("text=Put it into the yard")
    page.wait_for_selector("label >> text=i-row-9, no scan, by tape", timeout=LONG)
    assert (yard / "i-row-9.toml").is_file()


# -- season -----------------------------------------------------------------------------------------------------------


def test_a_season_is_shown_by_week(page):
    ready(page, "/season")
    page.wait_for_selector(".weeks li")
    first = page.locator(".weeks > li").first.inner_text()
    assert "30 Nov 2026" in first and "5.9 of 30 h" in first and "Sawn: af-07" in first
    assert page.locator(".worths th >> text=<b>").count() == 1  # what a file says stays text


def test_orders_are_written_as_a_form_and_read_as_the_command_reads_them(page, yard):
    ready(page, "/season")
    page.wait_for_selector(".note >> text=The yard has no orders.csv yet")
    page.click("text=One order more")
    page.select_option("#order-0-product", "tenor ukulele")
    page.fill("#order-0-quantity", "eight")
    page.keyboard.press("Tab")
    page.click("text=Only keep logs and orders")
    page.wait_for_selector("#told.fault >> text=it must be a whole number")
    assert not (yard / "orders.csv").exists()
    page.fill("#order-0-quantity", "8")
    page.keyboard.press("Tab")
    page.select_option("#order-0-matched", "log")
    page.click("text=Only keep logs and orders")
    page.wait_for_selector("#told >> text=Kept in logs.csv and orders.csv")
    assert read_cells(yard / "orders.csv", ORDERS) == [
        {"product": "tenor ukulele", "quantity": "8", "price": "", "due": "", "priority": "", "matched": "log"}
    ]
    assert (yard / "logs.csv").read_text().splitlines()[1].startswith("af-12.toml,")


def test_orders_that_cannot_be_read_are_left_alone(page, yard):
    (yard / "orders.csv").write_text("what,quantity\n<img src=x>,4\n")
    ready(page, "/season")
    page.wait_for_selector('.fault >> text=line 1 names the column "what"')
    assert page.locator("text=Work the season out").count() == 0
    assert (yard / "orders.csv").read_text().startswith("what")
    (yard / "orders.csv").unlink()


def test_a_season_at_work_is_shown_and_stopped(page, at_work):
    jobs = at_work("season", "", "plans: 1 of 3 logs")
    ready(page, "/season")
    page.wait_for_selector("text=Plans: 1 of 3 logs, begun at")
    page.click("button >> text=Stop")
    page.wait_for_selector("#told >> text=Stopping")
    assert jobs.path("season", "").with_suffix(".stop").exists()


def test_an_answer_to_one_field_does_not_undo_what_is_typed_in_another(page):
    ready(page, "/appraisal")
    page.click("summary >> text=A log that is known by tape alone")
    settled(page)
    page.focus("#taped-length")
    page.keyboard.type("2.3")
    # what was typed in the name before reaches the server late, as over a slow line, and is answered while the length is typed
    late = "(e) => { e.value = 'row 8'; e.dispatchEvent(new Event('change', {bubbles: true})); }"
    page.eval_on_selector("#taped-name", late)
    page.wait_for_timeout(2000)
    page.keyboard.type(" m")
    assert page.input_value("#taped-length") == "2.3 m" and page.input_value("#taped-name") == "row 8"
