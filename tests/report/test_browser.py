"""The HTML report in a real browser."""

from __future__ import annotations

import base64
import io
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from telemetry.aircraft import Aircraft
from telemetry.circuit.budget import budget
from telemetry.model.channels import Quantity
from telemetry.numerics.sampling import held_at
from telemetry.report.documents.across import Across
from telemetry.report.documents.index import entry_of
from telemetry.report.documents.of_budget import budget_document, picture_of_budget
from telemetry.report.documents.of_history import history_document
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import PathScene
from telemetry.report.draw_history import HistoryScene
from telemetry.report.output import to_html
from telemetry.report.sheet import page as sheet
from telemetry.report.sheet.content import sheet_of
from telemetry.report.writers import html
from telemetry.results import History, Review

pytestmark = pytest.mark.browser

SIZES = [(1280, False), (1280, True), (380, False), (380, True)]
PAGES = ["full", "bare", "index", "budget", "history", "sheet"]


def _budget_page() -> str:
    """The budget of an invented aircraft: one sound lead, one plug over its limit."""
    craft = Aircraft.model_validate(
        {
            "name": "curlew",
            "bus": "bus",
            "packs": [
                {"name": f"pack {n}", "chemistry": "liion", "cells": 2, "resistance_mohm": 40,
                 "lead": {"awg": 14, "length_m": 0.3}}
                for n in (1, 2)
            ],
            "nodes": [
                {"name": "left wing", "fed_from": "bus",
                 "lead": {"mm2": 1.5, "length_m": 1.2, "connectors": [{"pin_a": 1.0}]}},
                {"name": "tail", "fed_from": "bus", "lead": {"awg": 18, "length_m": 1.5}},
            ],
            "servos": [
                {"node": "left wing", "output": 1, "drives": "left aileron", "count": 3,
                 "moving_a": 0.6, "stall_a": 4, "stall_v": 7.4},
                {"node": "tail", "output": 1, "drives": "rudder", "moving_a": 0.8, "stall_a": 5,
                 "stall_v": 7.4},
            ],
        }
    )  # fmt: skip
    made = budget(craft)
    document = budget_document(made, craft, 0, "curlew.toml")
    return html.page(document, PathScene(picture_of_budget(made, craft)))


@pytest.fixture(scope="module")
def pages(
    review: Review,
    bare_review: Review,
    history: History,
    tmp_path_factory: pytest.TempPathFactory,
) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    texts = {
        "full": to_html(review),
        "bare": to_html(bare_review),
        "index": html.render_index(
            [
                entry_of(bare_review, document_of(bare_review), "bare.html"),
                entry_of(review, document_of(review), "full.html"),
            ],
            ["x.csv: no time."],
        ),
        "history": html.page(
            history_document(history, {f.id: "full.html" for f in history.flights}),
            HistoryScene.of(Across.of(history)),
        ),
        "budget": _budget_page(),
        "sheet": sheet.render(
            sheet_of(history, review, {f.id: f"{n:064x}" for n, f in enumerate(history.flights)})
        ),
    }
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in texts}


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize(("width", "dark"), SIZES)
def test_it_opens_without_complaint_and_without_sideways_scroll(
    browser: Any, pages: dict[str, Path], name: str, width: int, dark: bool
) -> None:
    browser.open(pages[name], width, dark=dark)
    assert browser.complaints() == []
    assert browser.run("document.documentElement.scrollWidth") <= width
    shown = browser.run("getComputedStyle(document.body).backgroundColor")
    assert shown == ("rgb(20, 24, 28)" if dark else "rgb(255, 255, 255)")
    # The wide overview on a wide screen, the narrow one on a phone; never both.
    parts = browser.run(
        "['.wide', '.narrow'].map(c => document.querySelector('.timeline ' + c))"
        ".filter(e => e).map(e => getComputedStyle(e).display)"
    )
    assert parts in ([], ["block", "none"] if width > 600 else ["none", "block"])
    assert bool(parts) == (name in ("full", "history"))


@pytest.mark.parametrize(("width", "dark"), SIZES[:3])
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_no_violation(
    browser: Any, pages: dict[str, Path], name: str, width: int, dark: bool
) -> None:
    """Checked by axe-core, as the axe-core-python distribution carries it."""
    axe = (resources.files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8")
    browser.open(pages[name], width, dark=dark)
    browser.run(axe + ";true")
    result = browser.run("axe.run({resultTypes: ['violations']}).then(r => r.violations)")
    assert [(v["id"], v["impact"], v["nodes"][0]["html"][:120]) for v in result] == []


# On a phone: what lies outside the window, what is too small to tap or read, which tables go on.
ON_A_PHONE = """(() => {
  const box = (e) => e.getBoundingClientRect();
  const all = [...document.querySelectorAll('body *')].filter(e => box(e).width > 1);
  const told = (e) => e.tagName + ' ' + e.textContent.trim().slice(0, 40);
  const scrolls = [...document.querySelectorAll('.scroll')];
  const sizes = all.filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
    .map(e => {
      const svg = e.closest('svg');
      const unit = svg ? box(svg).width / svg.viewBox.baseVal.width : 1;
      return [parseFloat(getComputedStyle(e).fontSize) * unit, told(e)];
    });
  return {
    width: Math.max(document.body.scrollWidth, document.documentElement.scrollWidth),
    outside: all.filter(e => !e.closest('svg, .scroll')
      && (box(e).right > innerWidth + 1 || box(e).left < -1)).map(told),
    titles: scrolls.map(e => e.querySelector('caption span'))
      .filter(e => box(e).right > innerWidth).map(told),
    taps: all.filter(e => e.matches('a, button, input, summary'))
      .map(e => e.closest('label') || e)
      .filter(e => box(e).width < 24 || box(e).height < 24).map(told),
    unreadable: sizes.filter(([size]) => size < 9.5).map(s => s.join(' ')),
    tables: scrolls.filter(e => e.scrollWidth > e.clientWidth + 1).length,
    uncued: scrolls.filter(e => getComputedStyle(e).backgroundAttachment
      !== 'local, local, scroll, scroll').length,
  };
})()"""


@pytest.mark.parametrize("name", PAGES)
def test_a_phone_shows_all_of_it(browser: Any, pages: dict[str, Path], name: str) -> None:
    """Targets of at least 24 by 24 px: WCAG 2.2, 2.5.8 (minimum, level AA)."""
    browser.open(pages[name], 390)
    seen = browser.run(ON_A_PHONE)
    assert seen.pop("width") <= 390
    assert seen.pop("tables") > 0 or name in ("bare", "index", "sheet")
    assert seen == {"outside": [], "titles": [], "taps": [], "unreadable": [], "uncued": 0}


@pytest.mark.parametrize("dark", [False, True])
def test_a_table_shows_at_its_edge_that_it_goes_on(
    browser: Any, pages: dict[str, Path], dark: bool
) -> None:
    browser.open(pages["full"], 390, dark=dark)

    def shades() -> list[int]:
        """How far the left and the right edge of the widest table differ from the paper."""
        box = browser.run(
            """(() => {
              const e = [...document.querySelectorAll('.scroll')]
                .sort((a, b) => b.scrollWidth - a.scrollWidth)[0];
              e.scrollIntoView();
              const {left, top, width} = e.getBoundingClientRect();
              return {x: left + scrollX, y: top + scrollY, width, height: 8, scale: 1};
            })()"""
        )
        shot = browser.send("Page.captureScreenshot", clip=box, captureBeyondViewport=True)
        row = np.asarray(Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("L"))[2]
        paper = 24 if dark else 255
        return [int(abs(int(row[k]) - paper)) for k in (1, -2)]

    left, right = shades()
    assert left < 8
    assert right > 40
    browser.run(
        "[...document.querySelectorAll('.scroll')].forEach(e => e.scrollLeft = e.scrollWidth)"
    )
    left, right = shades()
    assert left > 40
    assert right < 8


# What a name from a file might smuggle in: script, picture, style, handler, and a form.
SMUGGLED = """<script>document.title = 'taken'</script><style>body { display: none }</style>
<p id="bad" style="position: fixed" onclick="document.title = 'taken'">x</p>
<img src="x" onerror="document.title = 'taken'"><img src="https://evil.invalid/x.png">
<form id="sent" action="https://evil.invalid/"><input name="x"></form></main>"""


def test_the_page_runs_its_own_script_and_nothing_that_was_smuggled_in(
    browser: Any, pages: dict[str, Path], tmp_path: Path
) -> None:
    text = pages["full"].read_text(encoding="utf-8")
    tampered = tmp_path / "tampered.html"
    tampered.write_text(text.replace("</main>", SMUGGLED, 1), encoding="utf-8")
    browser.open(tampered, 1280)
    browser.run("document.getElementById('bad').click()")
    browser.run("document.getElementById('sent').submit()")
    assert browser.run("document.title") != "taken"
    assert browser.run("location.href").startswith("file:")
    assert browser.run("getComputedStyle(document.body).display") == "block"
    assert browser.run("getComputedStyle(document.getElementById('bad')).position") == "static"
    assert browser.run("document.querySelector('.tools').hidden") is False
    refused = [e["entry"]["text"] for e in browser.complaints() if isinstance(e, dict)]
    assert len(refused) >= 5
    assert all("Content Security Policy" in text for text in refused), refused


# Where a time of the wide timeline lies in the window.
PLACE = """(() => {
  const svg = document.querySelector('.%s svg'), box = svg.getBoundingClientRect();
  const layout = JSON.parse(document.getElementById('timeline-data').textContent).layouts.%s;
  const unit = box.width / svg.viewBox.baseVal.width, p = layout.panels[0];
  return {left: box.left + p.left * unit, width: p.width * unit, top: box.top + p.top * unit,
          lane: box.top + (layout.lane_top + layout.lane_height / 2) * unit};
})()"""


@pytest.mark.parametrize(("width", "shape"), [(1280, "wide"), (380, "narrow")])
@pytest.mark.parametrize("time_s", [62.31, 522.24, 800.0])
def test_pointing_reads_out_what_the_log_holds(
    browser: Any, pages: dict[str, Path], review: Review, width: int, shape: str, time_s: float
) -> None:
    browser.open(pages["full"], width)
    browser.run("document.getElementById('timeline').scrollIntoView()")
    place = browser.run(PLACE % (shape, shape))
    x = place["left"] + time_s / 900.0 * place["width"]
    browser.point(x, place["top"] + 20)
    said = browser.run("document.querySelector('.tools output').textContent")
    minutes, seconds = said.removeprefix("at ").split(":")
    read_s = 60 * int(minutes) + float(seconds)
    # One pixel of the picture is this long.
    assert abs(read_s - time_s) <= 900.0 / place["width"] + 0.1
    rows = browser.run(
        "[...document.querySelectorAll('.names li')]"
        ".map(r => ['.name', '.v', '.a'].map(c => r.querySelector(c).textContent))"
    )
    assert len(rows) == 6
    for name, volts, amps in rows:
        for quantity, text, unit in (
            (Quantity.VOLTAGE, volts, " V"),
            (Quantity.CURRENT, amps, " A"),
        ):
            r = review.readings.get(quantity, name)
            assert r is not None
            near = [held_at(r.t, r.v, r.t.dtype.type([read_s + k]), 2.0)[0] for k in (0.0, 0.099)]
            assert any(abs(float(text.removesuffix(unit)) - v) < 0.0051 for v in near), name


def test_a_click_on_an_event_zooms_to_it_and_back(browser: Any, pages: dict[str, Path]) -> None:
    browser.open(pages["full"], 1280)
    browser.run("document.getElementById('timeline').scrollIntoView()")
    place = browser.run(PLACE % ("wide", "wide"))
    browser.point(place["left"] + 522.3 / 900.0 * place["width"], place["lane"], click=True)
    texts = browser.run(
        "[...document.querySelectorAll('.wide .overlay text')].map(t => t.textContent)"
    )
    assert "sag, left wing" in texts
    labels = sorted(t for t in texts if ":" in t and t[:2].isdigit())
    assert "08:36" <= labels[0] <= labels[-1] <= "08:49"
    assert browser.run("document.querySelectorAll('.wide .overlay path[d^=M]').length") > 12
    drawn = "document.querySelector('.wide [data-part=trace-voltage-0]').getClientRects().length"
    assert browser.run(drawn) == 0
    browser.run("document.querySelector('.tools button').click()")
    assert browser.run("document.querySelectorAll('.overlay').length") == 0
    assert browser.run(drawn) == 1


def test_the_zoom_draws_the_lowest_reading_where_it_is(
    browser: Any, pages: dict[str, Path]
) -> None:
    browser.open(pages["full"], 1280)
    browser.run("document.querySelector('#findings [data-from]').click()")
    lowest = browser.run(
        """(() => {
          const data = JSON.parse(document.getElementById('timeline-data').textContent);
          const p = data.layouts.wide.panels[0];
          const {low, high} = document.querySelector('.wide [data-quantity=voltage]').dataset;
          const ys = [...document.querySelectorAll('.wide .overlay .line')]
            .flatMap(e => e.getAttribute('d').split(/[ML]/).slice(1).map(s => +s.split(' ')[1]))
            .filter(y => y >= p.top && y <= p.top + p.height);
          return high - (Math.max(...ys) - p.top) / p.height * (high - low);
        })()"""
    )
    assert lowest == pytest.approx(4.6, abs=0.005)


def test_links_of_findings_work_from_the_keyboard(browser: Any, pages: dict[str, Path]) -> None:
    browser.open(pages["full"], 1280)
    browser.run("document.querySelector('#findings [data-from]').focus()")
    browser.send(
        "Input.dispatchKeyEvent", type="keyDown", key="Enter", code="Enter", text="\r",
        windowsVirtualKeyCode=13,
    )  # fmt: skip
    assert browser.run("document.activeElement.className") == "plot"
    said = browser.run("document.querySelector('.live').textContent")
    assert said.startswith("At 08:42.0: pack 1 ")
    assert "left wing 4.60 V" in said
    browser.press("ArrowRight")
    assert browser.run("document.querySelector('.live').textContent") != said
    browser.press("Escape")
    assert browser.run("document.querySelectorAll('.overlay').length") == 0


def test_it_prints_whole_and_on_light_paper(browser: Any, pages: dict[str, Path]) -> None:
    browser.open(pages["full"], 1280, dark=True)
    browser.send("Emulation.setEmulatedMedia", media="print")
    assert browser.run("getComputedStyle(document.querySelector('.tools')).display") == "none"
    assert browser.run("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert browser.run("document.documentElement.scrollWidth") <= 1280
    browser.send("Emulation.setEmulatedMedia", media="")
    assert browser.pdf().startswith(b"%PDF-")


def test_everything_is_readable_without_scripts(browser: Any, pages: dict[str, Path]) -> None:
    browser.send("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(pages["full"], 1280)
        assert browser.complaints() == []
        document = browser.send("DOM.getDocument", depth=-1)
        assert document["root"]["childNodeCount"] > 0
        root = document["root"]["nodeId"]
        tools = browser.send("DOM.querySelector", nodeId=root, selector=".tools[hidden]")
        assert tools["nodeId"]
        lines = browser.send(
            "DOM.querySelectorAll", nodeId=root, selector=".wide [data-part^=trace-voltage]"
        )
        assert len(lines["nodeIds"]) >= 6
    finally:
        browser.send("Emulation.setScriptExecutionDisabled", value=False)
