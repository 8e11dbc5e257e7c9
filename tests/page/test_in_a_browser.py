"""The page in a real browser: dropped on, written on, with the keyboard alone, without a script."""

from __future__ import annotations

import json
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from telemetry.book import Logbook
from tests.cli.conftest import text_of
from tests.page.conftest import Address, Served

pytestmark = pytest.mark.browser

# Each width and each scheme once: axe takes its time over large pages.
LOOKS = [(1280, False), (390, True)]
PAGES = [
    "/",
    "/aircraft/tern",
    "/aircraft/tern/flights/3",
    "/aircraft/tern/compare",
    "/aircraft/tern/checks",
    "/aircraft/tern/sheet",
    "/aircraft/tern/notes",
    "/aircraft/tern/settings",
    "/aircraft/tern/note?place=bus&kind=repaired&text=plug",
    "/aircraft/tern/flights/3/change",
    "/guide/findings",
    "/work",
    "/sort",
    "/told",
]
AXE = resources.files("axe_core_python") / "axe.min.js"


@pytest.fixture(scope="module")
def looked_at(season: Path, pages: Path, browser: Any) -> Iterator[Served]:
    served = Served(season, pages)
    served.enter(browser)
    yield served
    served.close()


@pytest.fixture
def served(season: Path, tmp_path: Path, pages: Path, browser: Any) -> Iterator[Served]:
    shutil.copytree(season, tmp_path / "book")
    served = Served(tmp_path / "book", pages)
    served.enter(browser)
    yield served
    served.close()


def until(browser: Any, script: str, seconds: float = 30.0) -> Any:
    """The value of an expression as soon as it is true; it may cross from page to page."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            value = browser.run(script)
        except AssertionError:  # between two pages
            value = None
        if value:
            return value
        time.sleep(0.1)
    raise AssertionError(f"never came true: {script}\n{browser.run('document.body.innerText')}")


@pytest.mark.parametrize("path", PAGES)
def test_pages_fit_and_are_accessible(browser: Any, looked_at: Served, path: str) -> None:
    for width, dark in LOOKS:
        looked_at.open(browser, path, width, dark=dark)
        # A page may look again while an aircraft is being judged.
        own = ("data:", looked_at.base)
        asked = [c for c in browser.complaints() if not str(c).startswith(own)]
        assert path == "/told" or asked == [], (width, dark)
        assert browser.run("document.documentElement.scrollWidth") <= width
        shown = browser.run("getComputedStyle(document.body).backgroundColor")
        assert shown == ("rgb(20, 24, 28)" if dark else "rgb(255, 255, 255)")
        browser.run(AXE.read_text(encoding="utf-8") + ";true")
        result = browser.run("axe.run({resultTypes: ['violations']}).then(r => r.violations)")
        found = [(v["id"], v["impact"], v["nodes"][0]["html"][:120]) for v in result]
        assert found == [], (width, dark)


DROP = """(() => {
  const data = new DataTransfer();
  for (const [name, text] of %s) data.items.add(new File([text], name));
  for (const kind of ["dragover", "drop"])
    document.body.dispatchEvent(
      new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true}));
})()"""


def test_logs_are_dropped_and_added_while_one_looks(browser: Any, served: Served) -> None:
    served.open(browser, "/", 390)
    sent = [["tern a.csv", text_of(seed=91)], ["photo.csv", "no log"]]
    browser.run(DROP % json.dumps(sent))
    until(browser, "location.pathname === '/work'")
    until(browser, "document.body.innerText.includes('Everything that came is done')")
    rows = browser.run("[...document.querySelectorAll('tbody tr b')].map(b => b.textContent)")
    assert rows == ["added", "not added"]
    assert len(Logbook(served.book).flights("tern")) == 4


def test_what_no_log_is_in_is_said_where_it_was_dropped(browser: Any, served: Served) -> None:
    served.open(browser, "/")
    browser.run(DROP % json.dumps([[f"{n}.jpg", "x"] for n in range(5)]))
    told = until(browser, "document.querySelector('.progress').textContent.includes('no log')")
    assert told
    assert browser.run("location.pathname") == "/"


def key(browser: Any, name: str, text: str = "", code: int = 0) -> None:
    browser.send(
        "Input.dispatchKeyEvent", type="keyDown", key=name, text=text, windowsVirtualKeyCode=code
    )
    browser.send("Input.dispatchKeyEvent", type="keyUp", key=name, windowsVirtualKeyCode=code)


def tab_to(browser: Any, script: str) -> None:
    """Go on with the tab key until the focus is where an expression of it is true."""
    for _ in range(400):
        key(browser, "Tab", code=9)
        if browser.run(f"(e => {script})(document.activeElement)"):
            return
    raise AssertionError(f"the keyboard does not reach it: {script}")


def test_a_finding_is_noted_and_taken_back_with_the_keyboard_alone(
    browser: Any, served: Served
) -> None:
    served.open(browser, "/aircraft/tern")
    tab_to(browser, "e.name === 'text'")
    for sign in "plug":
        key(browser, sign, sign)
    tab_to(browser, "e.value === 'repaired'")
    key(browser, "Enter", "\r", 13)
    until(browser, "document.title.includes('keep this note')")
    assert "It closes" in browser.run("document.body.innerText")
    tab_to(browser, "e.textContent === 'Keep the note'")
    key(browser, "Enter", "\r", 13)
    until(browser, "document.querySelector('.said') !== null")
    (note,) = Logbook(served.book).notes("tern")
    assert (str(note.kind), note.text) == ("repaired", "plug")
    tab_to(browser, "e.textContent === 'Take the note back'")
    key(browser, "Enter", "\r", 13)
    until(browser, "document.body.innerText.includes('Taken out of the book')")
    assert Logbook(served.book).notes("tern") == ()


def _choose(browser: Any, log: Path) -> None:
    """Choose a file in the form, and put the focus on its button."""
    for _ in range(50):
        time.sleep(0.2)
        with suppress(AssertionError):  # between two pages
            root = browser.send("DOM.getDocument")["root"]["nodeId"]
            found = [
                browser.send("DOM.querySelector", nodeId=root, selector=one)["nodeId"]
                for one in ("input[type=file]", ".drop button")
            ]
            browser.send("DOM.setFileInputFiles", files=[str(log)], nodeId=found[0])
            browser.send("DOM.focus", nodeId=found[1])
            return
    raise AssertionError("the form never came")


def test_it_does_without_a_script(browser: Any, served: Served, tmp_path: Path) -> None:
    log = tmp_path / "tern b.csv"
    log.write_text(text_of(seed=92))
    browser.send("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(Address(f"{served.base}/"), 1280)
        _choose(browser, log)
        browser.seen = []
        key(browser, "Enter", "\r", 13)
        end = time.monotonic() + 40
        text = ""
        while "Everything that came is done" not in text and time.monotonic() < end:
            time.sleep(0.3)
            with suppress(AssertionError):  # between two pages
                root = browser.send("DOM.getDocument")["root"]["nodeId"]
                text = browser.send("DOM.getOuterHTML", nodeId=root)["outerHTML"]
        # The page looked again by itself.
        assert "Everything that came is done" in text
        assert re.search(r">added<", text)
    finally:
        browser.send("Emulation.setScriptExecutionDisabled", value=False)
    assert len(Logbook(served.book).flights("tern")) == 4


def test_two_tabs_write_and_neither_loses_the_other(browser: Any, served: Served) -> None:
    asked = "/aircraft/gull/note?place=bus&kind=checked&text="
    served.open(browser, f"{asked}first")
    # The second tab, as a frame would be one: the page asked and sent by a script of this one.
    sent = browser.run(
        """(async () => {
          const body = new URLSearchParams({kind: "checked", place: "bus", text: "second", on: ""});
          return (await fetch("/aircraft/gull/notes", {method: "POST", body})).status;
        })()"""
    )
    assert sent == 200
    browser.run("document.querySelector('main form button').click()")
    until(browser, "document.querySelector('.said') !== null")
    assert sorted(n.text for n in Logbook(served.book).notes("gull")) == ["first", "second"]


def test_a_page_whose_server_ended_says_so_and_that_nothing_is_lost(
    browser: Any, served: Served
) -> None:
    served.work.stop()
    served.work.spool.take([("tern c.csv", (Path(__file__)))])
    served.work.batches |= {b.id: b for b in served.work.spool.batches()}
    served.open(browser, "/work")
    assert browser.run("document.body.innerText").count("still to be read") == 1
    served.close()
    told = until(
        browser, "document.querySelector('[role=status]').textContent.includes('may have been')"
    )
    assert told
    assert "is not lost" in browser.run("document.body.innerText")


def test_a_flight_is_moved_and_moved_back(browser: Any, served: Served) -> None:
    (_, flight, _) = Logbook(served.book).flights("tern")
    served.open(browser, "/aircraft/tern/flights/2/change")
    browser.run("document.querySelector('input[name=to]').value = 'gull'")
    browser.run("document.querySelector('form[action=\"/move\"] button').click()")
    until(browser, "document.querySelector('.said') !== null")
    assert flight.id in [f.id for f in Logbook(served.book).flights("gull")]
    said = browser.run("document.querySelector('.said').textContent")
    browser.run("document.querySelector('.said button').click()")
    now = "(document.querySelector('.said')?.textContent ?? null)"
    until(browser, f"![null, {json.dumps(said)}].includes({now})")
    assert [f.id for f in Logbook(served.book).flights("tern")][1] == flight.id


def test_two_flights_are_chosen_and_compared(browser: Any, looked_at: Served) -> None:
    looked_at.open(browser, "/aircraft/tern/compare")
    browser.run("document.querySelector('select[name=a]').value = '1'")
    browser.run("document.querySelector('select[name=b]').value = '3'")
    browser.run("document.querySelector('main form button').click()")
    until(browser, "location.search === '?a=1&b=3' && document.querySelector('figure') !== null")
    shown = browser.run("document.body.innerText")
    assert "recording 1, 1 May 2026" in shown
    assert "recording 3, 3 May 2026" in shown


def test_the_timeline_of_a_served_flight_zooms_with_the_keyboard(
    browser: Any, looked_at: Served
) -> None:
    looked_at.open(browser, "/aircraft/tern/flights/3")
    until(browser, "document.querySelector('.tools button') !== null")
    shown = "document.querySelector('.extent').textContent"
    assert browser.run(shown) == "Whole recording."
    tab_to(browser, "e.textContent === 'Closer'")
    key(browser, "Enter", "\r", 13)
    until(browser, f"{shown}.includes(' to ')")
