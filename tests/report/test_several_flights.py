"""Several flights in one file: what stands first is of the worst of them, and says which it is."""

from __future__ import annotations

import html as markup
import re
from dataclasses import replace

import pytest

from telemetry.checks.in_flight import judge_log
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Scene, settings
from telemetry.report.writers import html, pdf, terminal
from telemetry.report.writers.json import review_document
from telemetry.results import Flight, Level, Margin, Phase, PhaseKind, Review

EDGES = (0.0, 300.0, 600.0, 899.0)


def flown(number: int, left_v: float, bus_v: float) -> Flight:
    start_s, end_s = EDGES[number - 1 : number + 1]
    return Flight(
        kind="flight",
        start_s=start_s,
        end_s=end_s,
        phases=(Phase(kind=PhaseKind.FLIGHT, start_s=start_s, end_s=end_s),),
        margins=tuple(
            Margin(place=place, lowest_v=v, restart_v=3.5, observed_v=v - 3.5, cases=())
            for place, v in (("left wing", left_v), ("bus", bus_v))
        ),
    )


def of_three(review: Review, *lowest: tuple[float, float]) -> Review:
    """The log as three flights with these lowest voltages of left wing and bus."""
    flights = tuple(flown(number, *volts) for number, volts in enumerate(lowest, 1))
    findings = judge_log(
        aircraft=review.aircraft,
        columns=review.columns,
        quality=replace(review.quality, balance_a=None, shortest_sure_dip_s=0.2, restarts=()),
        flights=flights,
    ).findings
    return replace(review, flights=flights, findings=findings)


# Lowest voltages of left wing and bus in each flight; worst flight; its margin to 3.5 V.
WORST_OF_THREE = [
    (((3.9, 6.0), (3.0, 6.0), (3.4, 6.0)), 2, "-0.50"),
    (((3.9, 6.0), (3.4, 6.0), (3.0, 6.0)), 3, "-0.50"),
    (((3.0, 6.0), (3.9, 6.0), (3.4, 6.0)), 1, "-0.50"),
    (((4.2, 6.0), (4.3, 6.0), (6.0, 3.9)), 3, "0.40"),
]


@pytest.mark.parametrize(("lowest", "worst", "margin"), WORST_OF_THREE)
def test_headline_and_numbers_are_of_the_worst_flight(
    review: Review, lowest: tuple[tuple[float, float], ...], worst: int, margin: str
) -> None:
    place = "bus" if worst == 3 and lowest[2][1] < lowest[2][0] else "left wing"
    volts = f"{min(lowest[worst - 1]):.2f} V"
    one = of_three(review, *lowest)
    assert one.verdict is Level.GROUND
    head = f"Flight {worst}, {place}: lowest voltage {volts}"

    document = document_of(one)
    assert document.first.reason.startswith(head)
    low, _, _, left, _ = document.first.numbers
    assert (low.value, low.detail) == (volts, f"{place}, flight {worst}")
    assert (left.value, left.detail) == (f"{margin} V", f"{place}, flight {worst}, above 3.50 V")

    assert head in " ".join(terminal.text_of(document).split())
    page = markup.unescape(re.sub(r"<[^>]+>", " ", html.render(document, Scene.of(one))))
    assert head in " ".join(page.split())
    with settings(0.68):
        sheets = pdf.lay_out(document, Scene.of(one), "a4")
        assert head in " ".join(t.get_text() for t in sheets.pages[0].texts)

    written = review_document(one)
    first = written["findings"][0]
    assert written["verdict"] == first["level"] == "ground"
    assert (first["flight"], first["place"]) == (worst, place)
    assert first["evidence"]["margin_v"] == pytest.approx(float(margin))


def test_the_worst_flight_comes_before_a_lower_one_that_is_less_grave(review: Review) -> None:
    """A watch of a later flight never stands before a ground of an earlier one, nor after."""
    one = of_three(review, (4.3, 6.0), (3.9, 6.0), (4.1, 6.0))
    told = [(f.flight, f.level) for f in one.findings if f.code == "margin-low"]
    assert told == [(2, Level.GROUND), (3, Level.WATCH), (1, Level.WATCH)]


def test_the_instant_of_the_lowest_voltage_is_looked_for_in_its_own_flight(review: Review) -> None:
    """The left wing reads 4.60 V once, at 08:42, in the second flight.

    A flight that went to 4.60 V without a row that shows it is not given that instant.
    """
    for lowest, detail in (
        (((6.0, 6.0), (4.6, 6.0), (6.0, 6.0)), "left wing, flight 2, in flight, at 08:42"),
        (((6.0, 6.0), (6.0, 6.0), (4.6, 6.0)), "left wing, flight 3"),
    ):
        one = of_three(review, *lowest)
        first = document_of(one).first
        assert first.numbers[0].detail == detail


def test_the_highest_current_names_its_flight_too(review: Review) -> None:
    one = of_three(review, (6.0, 6.0), (6.0, 6.0), (6.0, 6.0))
    several = document_of(one).first.numbers[1]
    alone = document_of(review).first.numbers[1]
    assert several.value == alone.value
    assert re.search(r", flight [123], in flight, at \d\d:\d\d$", several.detail)
    assert "flight 1" not in alone.detail, "one flight needs no number"
