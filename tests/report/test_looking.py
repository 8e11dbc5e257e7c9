"""Looking closer at the timeline of a saved report: zoom, moving, axes, places, events."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Limits
from telemetry.model.channels import Channel, Quantity
from telemetry.report.figures import style
from telemetry.report.figures.style import Look
from telemetry.report.output import to_html
from telemetry.report.writers.packing import packed
from telemetry.results import Mark, Review
from telemetry.results.readings import Reading

LENGTH_S = 900.0
SEEN = """(() => {
  const panel = (q) => document.querySelector(`.wide [data-quantity=${q}]`);
  const scale = (q) => panel(q) && [+panel(q).dataset.low, +panel(q).dataset.high];
  return {extent: document.querySelector('.extent').textContent,
          where: document.querySelector('.where').textContent,
          voltage: scale('voltage'), current: scale('current'),
          lines: [...document.querySelectorAll('.wide .overlay .line')].map(e => e.dataset.place),
          gaps: document.querySelectorAll('.wide .overlay .gap').length,
          down: window.scrollY};
})()"""
FRAME = """(() => {
  document.getElementById('timeline').scrollIntoView();
  const shape = innerWidth > 640 ? 'wide' : 'narrow';
  const svg = document.querySelector('.' + shape + ' svg'), box = svg.getBoundingClientRect();
  const data = JSON.parse(document.getElementById('timeline-data').textContent);
  const unit = box.width / svg.viewBox.baseVal.width, p = data.layouts[shape].panels[0];
  return {left: box.left + p.left * unit, width: p.width * unit, y: box.top + p.top * unit + 30};
})()"""


@pytest.fixture(scope="module")
def page(review: Review, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("looking") / "report.html"
    to_html(replace(review, marks=(Mark(time_s=700.0, text="thud <b>heard</b>"),)), path)
    return path


@pytest.fixture
def frame(browser: Any, page: Path) -> dict[str, float]:
    browser.open(page, 1280)
    found: dict[str, float] = browser.run(FRAME)
    return found


def x_of(frame: dict[str, float], time_s: float) -> float:
    return frame["left"] + time_s / LENGTH_S * frame["width"]


def extent(browser: Any) -> tuple[float, float]:
    """The stretch of time that the page says it shows, s."""
    told = browser.run(SEEN)["extent"]
    if told == "Whole recording.":
        return (0.0, LENGTH_S)
    start, end = (60 * int(m) + float(s) for m, s in re.findall(r"(\d+):([\d.]+\d)", told))
    return start, end


def test_a_drag_zooms_and_the_axes_fit_what_is_shown(
    browser: Any, frame: dict[str, float], review: Review
) -> None:
    browser.drag([x_of(frame, t) for t in (295.0, 302.0, 310.0)], frame["y"])
    start, end = extent(browser)
    px_s = LENGTH_S / frame["width"]
    assert start == pytest.approx(295.0, abs=px_s + 0.1)
    assert end == pytest.approx(310.0, abs=px_s + 0.1)
    seen = browser.run(SEEN)
    assert seen["gaps"] == 2, "the gap from 05:00 on stands in both panels"
    for quantity in (Quantity.VOLTAGE, Quantity.CURRENT):
        parts = [r.within(start, end).v for r in review.readings.of(quantity) if r.place]
        low = min(v.min() for v in parts if v.size)
        high = max(v.max() for v in parts if v.size)
        bottom, top = seen[str(quantity)]
        assert bottom < low or bottom == 0.0
        assert top > high
        assert top - bottom < 1.4 * (high - min(low, bottom)) + 1.0
    broken = "[...document.querySelectorAll('.wide .line')].map(e => e.getAttribute('d'))"
    for line in browser.run(broken):
        assert line.count("M") >= 2, "no line runs over the gap"
    browser.run("[...document.querySelectorAll('.tools input')][0].click()")
    whole = browser.run("JSON.parse(document.getElementById('timeline-data').textContent)")
    panel = whole["layouts"]["wide"]["panels"][0]
    assert browser.run(SEEN)["voltage"] == [panel["low"], panel["high"]]


def test_the_wheel_scrolls_the_page_and_zooms_with_ctrl(
    browser: Any, frame: dict[str, float]
) -> None:
    x = x_of(frame, 600.0)
    for _ in range(3):
        browser.wheel(x, frame["y"], -120, ctrl=True)
    start, end = extent(browser)
    assert end - start == pytest.approx(LENGTH_S * 0.8**3, abs=0.3)
    assert (600.0 - start) / (end - start) == pytest.approx(2 / 3, abs=0.01), "around the pointer"
    before = browser.run("window.scrollY")
    browser.wheel(x, frame["y"], 200)
    moved = "new Promise(r => setTimeout(() => r(window.scrollY), 300))"
    assert browser.run(moved) > before
    assert extent(browser) == (start, end)


def test_shift_and_drag_moves_and_so_do_fingers(browser: Any, frame: dict[str, float]) -> None:
    browser.drag([x_of(frame, t) for t in (300.0, 500.0)], frame["y"])
    start, end = extent(browser)
    middle, quarter = (frame["left"] + share * frame["width"] for share in (0.5, 0.25))
    browser.drag([middle, quarter + 20, quarter], frame["y"], shift=True)
    moved = extent(browser)
    assert moved[1] - moved[0] == pytest.approx(end - start, abs=0.11)
    assert moved[0] - start == pytest.approx((end - start) / 4, abs=1.0)
    browser.touch([quarter], [middle - 20], [middle], y=frame["y"])
    assert extent(browser)[0] == pytest.approx(start, abs=1.0)
    browser.touch(
        [middle - 50, middle + 50], [middle - 80, middle + 80], [middle - 100, middle + 100],
        y=frame["y"],
    )  # fmt: skip
    pinched = extent(browser)
    assert pinched[1] - pinched[0] == pytest.approx((end - start) / 2, abs=3.0)


def test_keys_and_steps_say_where_one_is(browser: Any, frame: dict[str, float]) -> None:
    browser.run("document.querySelector('.plot').focus()")
    browser.press("+")
    assert extent(browser) == (225.0, 675.0)
    browser.press("ArrowRight")
    assert extent(browser) == (270.0, 720.0)
    browser.press("Home")
    assert extent(browser) == (0.0, LENGTH_S)
    data = browser.run("JSON.parse(document.getElementById('timeline-data').textContent)")
    told = [e for e in data["events"] if not e[3]]
    told += [[700.0, 700.0, "marked, thud <b>heard</b>"]]
    told.sort(key=lambda e: e[0])
    for number, event in enumerate(told, 1):
        browser.press("n")
        seen = browser.run(SEEN)
        assert seen["where"].startswith(f"Event {number} of {len(told)}: {event[2]}, ")
        start, end = extent(browser)
        assert start <= event[0] <= event[1] <= end
        if event[0] == event[1] == 700.0:
            shown = "[...document.querySelectorAll('.wide .overlay text')].map(t => t.textContent)"
            assert "M1 thud <b>heard</b>" in browser.run(shown)
    browser.press("n")
    assert browser.run(SEEN)["where"].startswith(f"Event {len(told)} of ")
    browser.press("p")
    assert browser.run(SEEN)["where"].startswith(f"Event {len(told) - 1} of ")
    assert browser.run("document.querySelector('.where').ariaLive") == "polite"


def test_the_moment_that_was_chosen_goes_into_a_field_for_it(
    browser: Any, page: Path, tmp_path: Path
) -> None:
    marking = tmp_path / "marking.html"
    text = page.read_text(encoding="utf-8")
    marking.write_text(text.replace("<main>", "<main><input data-moment>", 1), encoding="utf-8")
    browser.open(marking, 1280)
    frame = browser.run(FRAME)
    field = "document.querySelector('input[data-moment]').value"
    browser.point(x_of(frame, 620.0), frame["y"], click=True)
    chosen = browser.run(field)
    assert chosen.startswith("10:")
    assert browser.run("document.querySelector('.tools output').textContent") == f"at {chosen}"
    browser.point(x_of(frame, 100.0), frame["y"])
    assert browser.run(field) == chosen, "what is passed over is not chosen"
    browser.run("document.querySelector('.plot').focus()")
    browser.press("n")
    assert browser.run(field) != chosen


def test_places_are_switched_off_and_the_axes_follow(
    browser: Any, frame: dict[str, float], review: Review
) -> None:
    names = browser.run("[...document.querySelectorAll('.names .name')].map(e => e.textContent)")
    boxes = "document.querySelectorAll('.names input')"
    kept = names.index("tail")
    for k in range(len(names)):
        if k != kept:
            browser.run(f"{boxes}[{k}].focus()")
            browser.send(
                "Input.dispatchKeyEvent", type="keyDown", key=" ", code="Space", text=" ",
                windowsVirtualKeyCode=32,
            )  # fmt: skip
            browser.send(
                "Input.dispatchKeyEvent", type="keyUp", key=" ", code="Space",
                windowsVirtualKeyCode=32,
            )  # fmt: skip
    seen = browser.run(SEEN)
    assert {int(place) for place in seen["lines"]} == {kept}
    volts = review.readings.get(Quantity.VOLTAGE, "tail")
    assert volts is not None
    room = max(0.08 * np.ptp(volts.v), (0.5 - np.ptp(volts.v)) / 2)
    assert seen["voltage"][0] == pytest.approx(volts.v.min() - room, abs=0.01)
    assert seen["voltage"][1] == pytest.approx(volts.v.max() + room, abs=0.01)
    for k in range(len(names)):
        if k != kept:
            browser.run(f"{boxes}[{k}].click()")
    assert browser.run("document.querySelectorAll('.overlay').length") == 0


@pytest.mark.parametrize("rate_hz", [50.0, 200.0])
def test_a_long_log_is_thinned_without_losing_a_dip_or_a_gap(rate_hz: float) -> None:
    time_s = np.arange(0.0, 3600.0, 1 / rate_hz)
    time_s = time_s[(time_s < 1000) | (time_s > 1003)]
    values = np.full(time_s.size, 8.0)
    dip = int(np.searchsorted(time_s, 2000.0))
    values[dip] = 4.25
    one = Reading(
        channel=Channel(
            key="bus/voltage", column="U", quantity=Quantity.VOLTAGE, place="bus", label="bus",
            unit="V", source_unit="V", reason="",
        ),
        t=time_s, v=values, update_s=1 / rate_hz, resolution=0.01,
    )  # fmt: skip
    look = Look(style.BLUE, ())
    limits = Limits()
    found = packed(
        [(Quantity.VOLTAGE, replace(one, v=values + k)) for k in range(2)],
        ["bus"], {"bus": look}, limits,
    )  # fmt: skip
    trace = found["traces"][0]
    clock = found["clocks"][trace["clock"]]
    steps = np.frombuffer(base64.b64decode(clock["steps"]), dtype="<u2")
    at = clock["start"] + np.cumsum(steps) / 1000
    counts = np.frombuffer(base64.b64decode(trace["values"]), dtype="<i2")
    volts = np.where(counts == -32768, np.nan, trace["base"] + trace["step"] * counts.astype(float))
    assert at.size < 70_000
    assert trace["every"] == pytest.approx(3600 / (65_000 // 2 - 1), rel=0.01)
    assert np.nanmin(volts) == pytest.approx(4.25, abs=0.01)
    assert at[np.nanargmin(volts)] == pytest.approx(2000.0, abs=0.01)
    blank = at[np.isnan(volts)]
    assert blank.size == 1
    assert 1000 < blank[0] < 1003
    assert np.diff(at).max() <= 3.0
    assert trace["hold"] >= 2 * trace["every"]
