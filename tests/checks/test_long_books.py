"""Books of years: what has gone back is past, what stays is not, on healthy books with one change.

The books are random aircraft of measures with a change at one place (`tests/simulated/books.py`).
"""

from __future__ import annotations

import pytest

from telemetry.checks.across import judge, replay, together_at
from telemetry.results import Finding, NoteMark
from telemetry.trends.table import FeatureTable
from tests.simulated.books import Shift, random_book

LEFT = "left wing"
# It stands for twenty flights.
GONE_BACK = (1.0,) * 20 + (0.0,)


@pytest.mark.parametrize(
    ("code", "how"),
    [
        ("branch-resistance-rising", {"mohm": 40.0}),
        ("servo-current-rising", {"factor": 1.35}),
        ("sensor-offset", {"volts": 0.12}),
    ],
)
def test_a_change_that_has_gone_back_is_past(code: str, how: dict[str, float]) -> None:
    """It stood from flight 21 to 40; neither it nor its return is told 10 to 150 flights later."""
    book = random_book(11, 190, shift=Shift(place=LEFT, since=20, course=GONE_BACK, **how))
    table, listed = FeatureTable(book.flights), judge(book.flights).flights

    def told(flight: int) -> tuple[Finding, ...]:
        return together_at(flight - 1, book.flights, (), book.aircraft, listed, table)

    (stood,) = told(40)
    assert (stood.code, stood.place, stood.since_flight) == (code, LEFT, "21")
    assert [told(flight) for flight in (50, 60, 90, 190)] == [()] * 4
    together = [(stood,) if 25 <= k < 40 else () for k in range(190)]
    (found,) = replay(book.flights, aircraft=book.aircraft, together=together).findings
    assert (found.state, found.closed_by and found.closed_by.flights) == ("closed", 3)


def test_a_change_that_stays_is_not_past() -> None:
    """After 25 and 150 flights with it the same change is told, in the same size."""
    book = random_book(11, 170, shift=Shift(place=LEFT, since=20, mohm=40.0))
    table, listed = FeatureTable(book.flights), judge(book.flights).flights
    for k in (45, 169):
        (found,) = together_at(k, book.flights, (), book.aircraft, listed, table)
        assert (found.code, found.place) == ("branch-resistance-rising", LEFT)
        assert found.since_flight in ("20", "21", "22")
        assert found.change is not None
        assert found.change.rise == pytest.approx(40.0, abs=6.0)
    # Only a note begins a new baseline.
    note = NoteMark(kind="changed", before=100, place=LEFT, text="new lead", date="2024-05-01")
    assert together_at(169, book.flights, (note,), book.aircraft, listed, table) == ()
    (before,) = together_at(99, book.flights, (note,), book.aircraft, listed, table)
    assert before.code == "branch-resistance-rising"
