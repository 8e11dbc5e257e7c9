"""The power path of a review, the notes on its leads, and what to do before the next flight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from telemetry.report.document import Bullets, FigureBlock, Paragraph, Section, Table
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Scene, settings
from telemetry.report.figures import style
from telemetry.report.parts.before_next import next_flight_section
from telemetry.report.parts.path import differences, picture_of
from telemetry.results import Flight, Level, OutKind, Resistance, Review

Make = Callable[..., Review]


@pytest.fixture(scope="module")
def place_blocks(review: Review) -> tuple[object, ...]:
    document = document_of(review)
    return next(s.blocks for s in document.sections if s.anchor == "places")


def test_each_place_has_its_numbers(review: Review) -> None:
    picture = picture_of(review, 0)
    assert picture.headings == ("low V", "high A", "mOhm", "margin V")
    flight = review.flights[0]
    margins = {m.place: m.observed_v for m in flight.margins}
    for load in flight.loads:
        low, high, mohm, margin = picture.numbers[load.place]
        assert float(high) == pytest.approx(load.peak_a, abs=0.05)
        assert margin == "-" or float(margin) == pytest.approx(margins[load.place], abs=0.005)
        assert low != "-"
        assert mohm == "-" or mohm.split()[0].isdigit()
    assert picture.numbers["left wing"][2] == "46 (42-50)"
    assert picture.levels["left wing"] is Level.GROUND
    assert "left wing: low V" in picture.alt
    assert "finding: ground" in picture.alt


def test_the_figure_is_in_the_report_and_draws_all_of_it(
    review: Review, place_blocks: tuple[object, ...]
) -> None:
    block = next(b for b in place_blocks if isinstance(b, FigureBlock) and b.name == "path")
    scene = Scene.of(review)
    with settings():
        fig = style.new_figure(390, scene.height(block))
        assert scene.draw(fig, block)
        (ax,) = fig.axes
        texts = [t.get_text() for t in ax.texts]
        fig.canvas.draw()
        boxes = [t.get_window_extent() for t in ax.texts if t.get_text()]
    for words in ("pack 1", "bus", "left wing", "tail", "margin V", "46 (42-50)"):
        assert words in texts
    whole = fig.bbox
    assert all(whole.x0 <= b.x0 and b.x1 <= whole.x1 for b in boxes), "nothing is cut off"
    apart = [(a, b) for k, a in enumerate(boxes) for b in boxes[k + 1 :] if a.overlaps(b)]
    assert apart == [], "no text runs into another"


def test_a_difference_from_the_wire_table_is_noted(place_blocks: tuple[object, ...]) -> None:
    (notes,) = [b for b in place_blocks if isinstance(b, Bullets)]
    assert notes.items == (
        "bus to left wing: measured 22 mOhm (15 to 28) more than the 24 mOhm expected: contacts, "
        "or more lead than the profile says.",
    )


@pytest.mark.parametrize(
    ("mohm", "words"),
    [(24.0, None), (29.0, None), (12.0, "less than the 24 mOhm expected"), (60.0, "more than")],
)
def test_only_sure_differences_are_noted(mohm: float, words: str | None) -> None:
    measured = Resistance(
        kind="branch", place="tail", parent="bus", mohm=mohm, low_mohm=mohm - 2, high_mohm=mohm + 2,
        updates=300, expected_mohm=24, expected_low_mohm=20, expected_high_mohm=30,
    )  # fmt: skip
    flight = Flight(kind="flight", start_s=0, end_s=9, phases=(), resistances=(measured,))
    found = differences(flight)
    assert len(found) == (words is not None)
    assert words is None or words in found[0]


def _table(section: Section, caption: str) -> list[list[str]]:
    table = next(b for b in section.blocks if isinstance(b, Table) and caption in b.caption)
    return [[c.text for c in row] for row in table.rows]


def test_before_the_next_flight(review: Review) -> None:
    section = next_flight_section(review)
    assert section.title.startswith("Before the next flight")
    assert _table(section, "The packs")[0] == [
        "pack 1 (A1)", "7.98", "100", "69 (68-70)", "812", "0 to 1", "full at the start",
    ]  # fmt: skip
    (outs,) = [b for b in section.blocks if isinstance(b, Bullets)]
    assert outs.items == (
        "Redundancy check at 00:31: pack 1 off for 13 s, the bus no lower than 5.97 V at up to "
        "0.9 A.",
    )
    found = _table(section, "Open findings")
    assert [row[0] for row in found] == ["Ground it", "Watch", "Cannot be judged"]
    tests = _table(section, "To test on the bench")
    asked = [f.confirm for f in review.findings if f.level > Level.CLEAR and f.confirm]
    assert len(tests) == len(set(asked))


def test_nothing_open_and_nothing_known(review: Review) -> None:
    flight = replace(review.flights[0], packs=(), pack_outs=())
    section = next_flight_section(replace(review, flights=(flight,), findings=()))
    assert section.blocks[0] == Paragraph(text="This log leaves no finding open.")
    (known,) = section.blocks[1:]
    assert isinstance(known, Table)
    assert "make known" in known.caption


def test_a_pack_switched_off_after_landing_is_told_but_no_check(review: Review) -> None:
    flight = review.flights[0]
    off = replace(flight.pack_outs[0], kind=OutKind.SWITCHED_OFF, start_s=870.0, bus_v=None)
    lost = replace(flight.pack_outs[0], kind=OutKind.LOST)
    section = next_flight_section(
        replace(review, flights=(replace(flight, pack_outs=(off, lost)),))
    )
    (outs,) = [b for b in section.blocks if isinstance(b, Bullets)]
    assert len(outs.items) == 1, "a lost pack is a finding"
    assert outs.items[0].startswith("Switched off at 14:30: pack 1 off for")
