"""The report of a history: what it says, how it is laid out, and that nothing gets out of hand."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import SubFigure

from telemetry.aircraft import Aircraft
from telemetry.checks.check import FITFUL, STEADY
from telemetry.report.document import FigureBlock, FindingBlock, Table
from telemetry.report.documents.across import Across, flights_on_a_charge, paired, side_by_side
from telemetry.report.documents.of_history import history_document
from telemetry.report.draw import settings
from telemetry.report.draw_history import HistoryScene
from telemetry.report.output import to_pdf
from telemetry.report.parts.method import CAUTIONS
from telemetry.report.writers import html, pdf, terminal
from telemetry.report.writers import json as report_json
from telemetry.report.writers.paper import Sheets
from telemetry.report.writers.screen import columns_of
from telemetry.results import (
    CheckOutcome,
    Feature,
    Finding,
    History,
    HistoryFlight,
    Level,
    NoteMark,
    NotJudged,
    OutcomeKind,
)

Make = Callable[..., History]


def page_of(history: History, links: Mapping[str, str] | None = None) -> str:
    return html.page(history_document(history, links), HistoryScene.of(Across.of(history)))


@pytest.fixture(scope="module")
def text(history: History) -> str:
    return terminal.text_of(history_document(history))


@pytest.fixture(scope="module")
def page(history: History) -> str:
    links = {f.id: f"tern-flights/{f.file}.html" for f in history.flights[-3:]}
    return page_of(history, links)


@pytest.fixture(scope="module")
def bare(make_history: Make) -> History:
    """Two flights: nothing can be judged."""
    return make_history(count=2, trends=(), findings=(), notes=(), not_judged=())


def squeezed(text: str) -> str:
    return " ".join(text.split())


# The contract of busbook.history/1, written out by hand.
KEYS = {"schema", "aircraft", "flights", "features", "findings", "verdict"}
INNER = {
    "flights": {"id", "start", "file"},
    "features": {"flight", "place", "feature", "value", "unit", "low", "high"},
    "findings": {
        *("code", "level", "place", "servo", "since_flight", "change", "title", "evidence"),
        *("explanations", "confirm", "advice"),
    },
}


def strict(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(text, parse_constant=refuse)


def test_json_has_every_key_of_the_contract(history: History) -> None:
    found = strict(report_json.dumps(report_json.history_document(history)))
    assert found["schema"] == "busbook.history/1"
    assert found.keys() >= KEYS
    assert found["aircraft"] == "tern"
    assert found["verdict"] == "ground"
    for name, keys in INNER.items():
        assert found[name], name
        assert all(row.keys() >= keys for row in found[name])
    assert found["findings"][0]["since_flight"] == found["flights"][5]["id"]
    assert found["findings"][1]["change"] is None


def test_json_holds_null_where_there_is_no_number(make_history: Make) -> None:
    rows = (
        Feature(flight="0" * 16 + "-0", place="bus", feature="idle_v", value=None, unit="V"),
        Feature(
            flight="0" * 16 + "-0", place="bus", feature="rest_a", value=float("nan"), unit="A"
        ),
    )
    found = strict(
        report_json.dumps(report_json.history_document(make_history(features=rows, findings=())))
    )
    assert [f["value"] for f in found["features"]] == [None, None]
    assert found["features"][0]["low"] is None


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_screen(history: History, bare: History, width: int) -> None:
    for one in (history, bare):
        shown = terminal.text_of(history_document(one), width)
        # All but the next command, which can be copied only whole.
        lines = [x for x in shown.splitlines() if not x.startswith("    busbook ")]
        assert [x for x in lines if columns_of(x) > width] == []
        assert shown.isascii()


def test_the_answer_stands_in_the_first_lines(text: str) -> None:
    head = squeezed("\n".join(text.splitlines()[:16]))
    assert "History of 11 flights and 1 bench recording, 1 April 2026 to 12 April 2026." in head
    assert "!!! GROUND IT" in head
    assert "Right wing draws 45 % more than usual; 1 more below." in head
    assert "Places to look at 2 right wing, left wing" in head
    # The lowest of all in flight at a place that is fed, by hand: tail 7.7 - 0.1 - 0.09 V.
    assert "Lowest voltage 7.51 V tail, in flight, No. 4" in head
    # 230 + 240 mAh and 2 mAh more each flight: No. 2 to 12, median No. 7: 470 + 12.
    assert "Charge a flight 482 mAh median, all packs together; most 492 mAh in No. 12" in head
    # 2600 mAh less 30 %, at most 251 mAh a flight.
    assert "Flights on a charge 7" in head


def test_findings_say_since_when_how_much_how_fast_and_how_sure(text: str) -> None:
    flat = squeezed(text)
    for part in (
        "right wing, right wing 2, since No. 6 of 12, 6 April 2026 (flight-05.csv)",
        "stir mean current usual 0.84, now 1.38 A",
        "rise 58 % of one servo's share (40 to 76)",
        "rate 12.0 % a flight (9.0 to 15.0)",
        "next limit 60 % of one servo's share, reached in 1 to 4 flights",
        "servos there 4, assumed: the profile does not say",
        "chance of that by luck alone under 1 in 10 000",
        "false alarms at this level 1 in 100 healthy books of 100 flights",
        "Flight by flight, %: -3 2 -3 | 30 42 54 66 78 90 102. Limits: watch 25, ground 60.",
        "The likeliest cause first: - A worn servo. For it: it grew. - A linkage that binds.",
        "Do: Find the servo and put it right.",
    ):
        assert part in flat, part


def test_every_finding_has_the_figure_that_proves_it(history: History) -> None:
    (section,) = [s for s in history_document(history).sections if s.anchor == "findings"]
    blocks = [b for b in section.blocks if isinstance(b, FindingBlock)]
    assert [(b.code, b.figure.name, b.figure.place) for b in blocks if b.figure] == [
        ("servo-current-rising", "trend", "right wing"),
        ("contact-intermittent", "falls", "left wing"),
    ]
    assert "| 30 42" in blocks[0].figure.alt, "read out to those who cannot see it"


def test_it_never_says_safe_and_carries_every_caution(text: str, page: str, bare: History) -> None:
    shown = (text, re.sub(r"<[^>]*>", " ", page), terminal.text_of(history_document(bare)))
    for one in shown:
        assert not re.search(r"\bsafe", one, re.IGNORECASE)
    for caution in CAUTIONS:
        assert caution in squeezed(text)


def test_clear_is_nothing_found_and_no_leave_to_fly(make_history: Make) -> None:
    shown = squeezed(terminal.text_of(history_document(make_history(findings=()))))
    assert "( ) NOTHING FOUND ACROSS THESE FLIGHTS" in shown
    assert "do not clear the aircraft to fly" in shown


def test_too_few_flights_are_not_called_clear(bare: History) -> None:
    shown = squeezed(terminal.text_of(history_document(bare)))
    assert bare.verdict is Level.UNKNOWN
    assert "<?> CANNOT BE JUDGED" in shown
    assert "it takes three at the least" in shown


def test_a_place_just_put_right_is_named_as_not_judged_yet(make_history: Make) -> None:
    note = NoteMark(
        kind="repaired", place="right wing", text="servo 2 replaced", date="2026-04-13", before=12
    )
    shown = squeezed(terminal.text_of(history_document(make_history(findings=(), notes=(note,)))))
    assert "1 place just put right cannot be judged yet" in shown
    assert (
        "Right wing: repaired on 13 April 2026 (servo 2 replaced). Its baseline began anew with no "
        "flights since; it takes 3 before anything can be told." in shown
    )


def test_notes_say_which_baseline_they_began(history: History) -> None:
    (section,) = [s for s in history_document(history).sections if s.anchor == "notes"]
    (table,) = section.blocks
    assert isinstance(table, Table)
    rows = [tuple(c.text for c in row) for row in table.rows]
    assert rows == [
        ("2026-04-09", "repaired", "tail", "plug cleaned", "new baseline, 4 flights since"),
        ("2026-04-04", "checked", "tail", "looked at", "-"),
        ("2026-04-02", "charged", "whole aircraft", "both packs", "-"),
    ]


def test_charge_is_counted_since_the_note_that_the_packs_were_charged(history: History) -> None:
    (section,) = [s for s in history_document(history).sections if s.anchor == "packs"]
    table = section.blocks[0]
    assert isinstance(table, Table)
    # Charged before flight No. 2: eleven flights since, 230 + k mAh each, k from 1 to 11.
    first = [c.text for c in table.rows[0]]
    assert first == ["pack 1", "2600", "236", "241", "7", "11", str(230 * 11 + 66)]


def test_flights_on_a_charge_is_a_plain_division() -> None:
    # By hand: 2600 mAh less 30 % is 1820 mAh; 250 mAh a flight: 7.28.
    assert flights_on_a_charge(2600, 30, 250) == 7
    assert flights_on_a_charge(300, 30, 250) == 0


def test_the_flights_are_listed_the_newest_first_and_open_their_reviews(
    history: History, page: str
) -> None:
    numbers = re.findall(r"<tr><td>(\d+)</td><td>2026", page)
    assert numbers == [str(n) for n in range(12, 0, -1)]
    hrefs = re.findall(r'<a href="(tern-flights/[^"]*)">([^<]*)</a>', page)
    assert hrefs[-3:-2] == [("tern-flights/flight-11.csv.html", "flight-11.csv")]
    assert "Open the last flight" in [words for _, words in hrefs]
    alone = page_of(history)
    assert "tern-flights/" not in alone
    assert "busbook review with the flight" in squeezed(alone)


class _Page(HTMLParser):
    """Tags and attributes of a page, as a browser would find them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>\u202e\x1b[31m'


@pytest.fixture(scope="module")
def hostile(make_history: Make) -> History:
    flight = HistoryFlight(id="0" * 16 + "-0", start=None, file=HOSTILE, kind="flight")
    named = make_history()
    return replace(
        named,
        name=HOSTILE,
        flights=(flight, *named.flights[1:]),
        notes=(
            NoteMark(kind="repaired", place=HOSTILE, text=HOSTILE, date="2026-04-01", before=1),
        ),
        findings=tuple(
            replace(f, place=HOSTILE, title=HOSTILE, evidence={HOSTILE: HOSTILE}, servo=HOSTILE)
            for f in named.findings
        ),
        features=(
            *named.features,
            Feature(flight=flight.id, place=HOSTILE, feature="idle_v", value=8.0, unit="V"),
        ),
        not_judged=(HOSTILE,),
        checks=(
            CheckOutcome(
                code="pack-out", question="Is it?", place=HOSTILE, why=HOSTILE, next_time=HOSTILE,
                outcome=OutcomeKind.NOT_JUDGED, reason=NotJudged.UNLOGGED,
            ),
        ),
    )  # fmt: skip


def test_names_from_files_cannot_leave_the_text(hostile: History, page: str) -> None:
    shown = page_of(hostile, {hostile.flights[0].id: '"><script>.html'})
    tags = _Page(shown).tags
    assert not [t for t, _ in tags if t in ("script", "img", "iframe", "object", "link")]
    assert not [a for _, attributes in tags for a in attributes if a.startswith("on")]
    hrefs = [a["href"] for t, a in tags if t == "a"]
    assert all(re.fullmatch(r"#[\w-]+|[\w./%-]+", str(h)) for h in hrefs)
    on_screen = terminal.text_of(history_document(hostile))
    for one in (shown, on_screen):
        assert "\x1b" not in one
        assert "\u202e" not in one
    assert max(columns_of(x) for x in on_screen.splitlines() if "busbook note" not in x) <= 80


def test_the_page_fetches_nothing_and_holds_no_script(page: str) -> None:
    tags = _Page(page).tags
    assert not [t for t, _ in tags if t == "script"]
    assert "://" not in re.sub(r"http://www\.w3\.org/\d+/\w+", "", page)
    assert not re.search(r"\bnan\b", page, re.IGNORECASE)


def test_the_same_history_gives_the_same_bytes(history: History, page: str, tmp_path: Path) -> None:
    links = {f.id: f"tern-flights/{f.file}.html" for f in history.flights[-3:]}
    assert page_of(history, links) == page
    for name in ("a.pdf", "b.pdf"):
        to_pdf(history, tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_three_hundred_flights_stay_a_small_page(make_history: Make) -> None:
    shown = page_of(make_history(count=300))
    assert len(shown.encode()) < 1_500_000
    assert shown.count("<tr>") > 300


@pytest.fixture(scope="module", params=["a4", "letter"])
def sheets(request: pytest.FixtureRequest, history: History) -> Iterator[Sheets]:
    with settings(0.68):
        scene = HistoryScene.of(Across.of(history))
        made = pdf.lay_out(history_document(history), scene, request.param)
        for one in made.pages:
            one.draw_without_rendering()
        yield made


def test_paper_cuts_nothing_off(sheets: Sheets) -> None:
    assert len(sheets.pages) > 3
    for number, one in enumerate(sheets.pages, 1):
        assert f"page {number} of {len(sheets.pages)}" in " ".join(t.get_text() for t in one.texts)
        for text in one.texts:
            box = text.get_window_extent()
            assert box.x0 >= 20
            assert box.x1 <= sheets.width - 20, text.get_text()
            assert box.y0 >= 20
        for part in one.subfigs:
            assert isinstance(part, SubFigure)
            for ax in part.axes:
                box = ax.get_tightbbox()
                assert box is not None
                assert box.x0 >= part.bbox.x0 - 2
                assert box.x1 <= part.bbox.x1 + 2, ax.get_ylabel()
                assert box.y0 >= part.bbox.y0 - 2
                assert box.y1 <= part.bbox.y1 + 2


def test_every_figure_block_can_be_drawn(history: History) -> None:
    from telemetry.report.figures import style

    document = history_document(history)
    scene = HistoryScene.of(Across.of(history))
    blocks = [document.first.timeline]
    for section in document.sections:
        for block in section.blocks:
            blocks.append(block.figure if isinstance(block, FindingBlock) else block)
    figures = [b for b in blocks if isinstance(b, FigureBlock)]
    assert {f.name for f in figures} >= {"season", "trend", "volts", "amps", "mohm", "use", "share"}
    with settings():
        for block in figures:
            fig = style.new_figure(390, scene.height(block))
            assert scene.draw(fig, block), block
            assert all(ax.get_ylabel() or block.name == "season" for ax in fig.axes)


def test_like_places_share_their_view_so_that_they_can_be_compared(history: History) -> None:
    from telemetry.report.figures import style

    scene = HistoryScene.of(Across.of(history))
    document = history_document(history)
    views = {}
    with settings():
        for section in document.sections:
            for block in section.blocks:
                if isinstance(block, FigureBlock) and block.name == "mohm":
                    fig = style.new_figure(390, scene.height(block))
                    scene.draw(fig, block)
                    views[block.place] = fig.axes[0].get_ylim()
    assert views["left wing"] == views["right wing"] == views["tail"]
    assert views["left wing"][1] >= 25 + 5 * 7
    assert views["pack 1"] != views["tail"]


def test_mirrors_stand_beside_each_other() -> None:
    assert paired(["bus", "right wing", "tail", "left wing"], Aircraft()) == (
        *("bus", "left wing", "right wing", "tail"),
    )
    places = ["bus", "left wing", "right wing", "tail", "pack 1", "pack 2"]
    assert side_by_side(places, Aircraft()) == (
        ["pack 1", "pack 2", "left wing", "right wing"],
        ["bus", "tail"],
    )


def test_a_finding_without_place_or_flight_is_shown_all_the_same(make_history: Make) -> None:
    odd = Finding(code="pack-weak", level=Level.WATCH, place=None, title="a pack is weak")
    shown = squeezed(terminal.text_of(history_document(make_history(findings=(odd,)))))
    assert "/!\\ WATCH: A pack is weak" in shown
    assert "Places to look at 1 whole aircraft" in shown


def test_flights_are_listed_with_what_each_says_by_itself(make_history: Make) -> None:
    calm = make_history(count=3)
    levels = (Level.UNKNOWN, None, Level.WATCH)
    flights = (replace(f, verdict=v) for f, v in zip(calm.flights, levels, strict=True))
    history = replace(calm, flights=tuple(flights))
    table = next(
        b
        for section in history_document(history).sections
        for b in section.blocks
        if section.anchor == "flights" and isinstance(b, Table)
    )
    at = [c.title for c in table.columns].index("Review")
    assert [row[at].text for row in table.rows] == ["watch", "-", "cannot be judged"]


def test_what_single_flights_say_again_is_the_answer_and_has_its_figure(
    make_history: Make,
) -> None:
    calm = make_history(findings=(), trends=())
    droop = Finding(
        code="regulator-droop",
        level=Level.GROUND,
        place="left wing",
        title="left wing fell 5 times; 4 flights show it, each by itself",
        evidence={
            "flights_with": 4,
            "recent_flights": "4 of the last 5",
            "gravest_flight": "flight-11.csv",
            "flights_since": 4,
        },
        since_flight=calm.flights[8].id,
    )
    text = squeezed(terminal.text_of(history_document(replace(calm, findings=(droop,)))))
    assert "!!! GROUND IT Left wing fell 5 times; 4 flights show it, each by itself" in text
    assert "left wing, since No. 9 of 12, 9 April 2026 (flight-08.csv)" in text
    assert "of the newest 4 of the last 5" in text
    assert "most serious in flight-11.csv" in text
    assert "falls that no load explains" in text, "the figure in words"


def test_a_note_that_names_no_place_is_said_to_close_nothing(make_history: Make) -> None:
    notes = tuple(
        NoteMark(kind="repaired", place=place, text="x", date="2026-04-09", before=8)
        for place in (None, "all")
    )
    shown = make_history(notes=notes)
    (section,) = [s for s in history_document(shown).sections if s.anchor == "notes"]
    (table,) = section.blocks
    assert isinstance(table, Table)
    assert [tuple(c.text for c in row)[2:] for row in table.rows] == [
        ("every place", "x", "new baseline, 4 flights since"),
        ("whole aircraft", "x", "closes nothing: it names no place"),
    ]


def test_how_it_was_judged_tells_how_many_flights_are_asked(page: str) -> None:
    text = squeezed(re.sub(r"<[^>]*>", " ", page))
    assert (STEADY, FITFUL) == (3, 5)
    assert "three, of what comes and goes five, that would have shown it" in text


@pytest.mark.parametrize(
    ("last", "said"),
    [(None, ""), (5, ""), (8, ", last seen in No. 9"), (-1, ""), ("gone", "")],
)
def test_when_a_finding_was_last_seen_is_said_where_later_flights_do_not_show_it(
    history: History, last: int | str | None, said: str
) -> None:
    first = history.open[0]
    since = history.flights[5].id
    seen = history.flights[last].id if isinstance(last, int) else last
    found = replace(first, since_flight=since, last_flight=seen)
    document = history_document(replace(history, findings=(found,)))
    (block,) = [b for s in document.sections for b in s.blocks if isinstance(b, FindingBlock)]
    where = block.where.partition("since ")[2]
    assert (", last seen" in where, where.endswith(said)) == (bool(said), True)
