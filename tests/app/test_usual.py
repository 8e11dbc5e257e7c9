"""One flight beside the earlier ones: ranges, digits and order by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.app import usual
from telemetry.book import BookFlight
from telemetry.model.log import Provenance
from telemetry.results import ClosedBy, Comparison, Finding, History, HistoryFlight, Level, NoteMark
from telemetry.trends.measures import Measure
from tests.trends.conftest import book_flight, book_note

Make = Callable[..., Any]
SHA = "0123456789abcdef" * 4


@pytest.fixture
def compared(
    make_flight: Make, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[Comparison, ...]]:
    """Rows for a flight with these measures beside earlier values of the same features."""

    def compared(
        now: Sequence[Measure],
        earlier: Sequence[dict[Any, Any]],
        notes: Sequence[NoteMark] = (),
    ) -> tuple[Comparison, ...]:
        def measure_flight(_review: Any, number: int) -> Any:
            self_numbers.append(number)
            return replace(make_flight(), features=tuple(now))

        self_numbers: list[int] = []
        monkeypatch.setattr(usual, "measure_flight", measure_flight)
        review: Any = SimpleNamespace(aircraft=Aircraft())
        rows = usual.compare(review, [make_flight(e) for e in earlier], notes, number=2)
        assert self_numbers == [2]
        assert all(r.flight == 2 for r in rows)
        assert usual.compare(review, [make_flight(e) for e in earlier], notes) == tuple(
            replace(r, flight=1) for r in rows
        )
        return rows

    return compared


def one(feature: str, value: float | None, unit: str = "V", place: str = "tail") -> Measure:
    return Measure(place=place, feature=feature, value=value, unit=unit)


class TestCompare:
    def test_the_middle_four_fifths_are_usual(self, compared: Make) -> None:
        earlier = [{("tail", "start_v"): float(v)} for v in range(11)]
        (row,) = compared([one("start_v", 4.0)], earlier)
        # Of 0 to 10 the 10th and 90th percentile.
        assert (row.usual_low, row.usual_high) == pytest.approx((1.0, 9.0))
        assert (row.place, row.feature, row.value, row.unit) == ("tail", "start_v", 4.0, "V")
        assert (row.flights, row.outside, row.name) == (11, False, "voltage at the start")

    @pytest.mark.parametrize(("flights", "told"), [(2, False), (3, True)])
    def test_three_earlier_flights_at_the_least(
        self, compared: Make, flights: int, told: bool
    ) -> None:
        earlier = [{("tail", "start_v"): 8.0}] * flights + [{("tail", "start_v"): None}] * 3
        assert bool(compared([one("start_v", 8.0)], earlier)) is told

    def test_only_what_people_read_and_what_was_measured(self, compared: Make) -> None:
        earlier = [{("tail", "start_v"): 8.0, ("tail", "falls"): 0.0}] * 4
        assert compared([one("falls", 0.0), one("start_v", None)], earlier) == ()

    @pytest.mark.parametrize(
        ("unit", "digits"), [("V", 2), ("A", 2), ("mOhm", 0), ("mAh/min", 0), ("", 2), ("%", 1)]
    )
    def test_digits_by_unit(self, compared: Make, unit: str, digits: int) -> None:
        (row,) = compared([one("start_v", 1.0, unit)], [{("tail", "start_v"): 1.0}] * 3)
        assert row.digits == digits

    @pytest.mark.parametrize(
        ("value", "outside"),
        [(6.994, True), (6.996, False), (7.0, False), (8.0, False), (8.004, False), (8.006, True)],
    )
    def test_outside_all_of_them_as_printed(
        self, compared: Make, value: float, outside: bool
    ) -> None:
        earlier = [{("tail", "start_v"): v} for v in (7.5, 7.0, 8.0)]
        (row,) = compared([one("start_v", value)], earlier)
        assert row.outside is outside

    def test_what_is_outside_comes_first(self, compared: Make) -> None:
        earlier = [{(p, "end_v"): 7.0 for p in "abc"}] * 3
        rows = compared(
            [one("end_v", v, place=p) for p, v in zip("abc", (7, 9, 7), strict=True)], earlier
        )
        assert [(r.place, r.outside) for r in rows] == [("b", True), ("a", False), ("c", False)]

    def test_a_repair_makes_what_was_before_it_unusual(self, compared: Make) -> None:
        earlier = [{("tail", "end_v"): v} for v in (1.0, 7.0, 7.2, 7.4)]
        note = NoteMark(kind="repaired", place="tail", text="", date="2026-05-01", before=1)
        (row,) = compared([one("end_v", 7.0)], earlier, [note])
        assert (row.flights, row.usual_low) == (3, pytest.approx(7.04))
        elsewhere = replace(note, place="nose")
        (row,) = compared([one("end_v", 7.0)], earlier, [elsewhere])
        assert row.flights == 4


class TestBefore:
    @staticmethod
    def before(entries: Sequence[Any], start: str | None) -> list[Any]:
        book: Any = SimpleNamespace(timeline=lambda name: tuple(entries) if name == "tern" else ())
        log = Provenance(file="made.csv", sha256=SHA, size_bytes=0, rows=10, start=start)
        return list(usual.before(book, "tern", log))

    def test_what_stands_before_it_in_the_book(self) -> None:
        own = book_flight("2026-05-01", SHA[:16])
        entries = [
            book_flight("2026-05-09"),
            book_note("2026-04-01"),
            own,
            book_flight("2026-04-01"),
        ]
        assert self.before(entries, "2026-05-01") == entries[:2]
        assert self.before([own, *entries], None) == []

    def test_else_what_is_of_an_earlier_date(self) -> None:
        entries = [
            book_flight(None),
            book_flight("2026-05-01T09:59:59"),
            book_note("2026-05-01"),
            book_flight("2026-05-01T10:00:00"),
            book_note("2026-05-02"),
        ]
        assert self.before(entries, "2026-05-01T10:00:00") == entries[:3]

    def test_else_all(self) -> None:
        entries = [book_flight("2026-05-01"), book_note("2026-05-01")]
        assert self.before(entries, None) == entries


def test_every_flight_of_a_review_is_set_beside_those_before_it(
    make_flight: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    entries = (book_flight("2026-05-01"), book_note("2026-05-02"), book_flight("2026-05-03"))
    profile = Aircraft(name="tern")
    book: Any = SimpleNamespace(timeline=lambda _: entries, profile=lambda _: profile)

    def measures_of(_book: Any, flights: Sequence[BookFlight], told: Aircraft) -> dict[int, Any]:
        assert list(flights) == [entries[0], entries[2]]
        assert told is profile
        return dict(enumerate([make_flight(file="a"), make_flight(file="b")]))

    def compare(_r: Any, earlier: Any, notes: Any, *, faulty: Any, number: int) -> list[Any]:
        assert faulty == {}
        return [(number, [m.file for m in earlier], [n.before for n in notes])]

    monkeypatch.setattr(usual, "measures_of", measures_of)
    monkeypatch.setattr(usual, "compare", compare)
    log = SimpleNamespace(
        provenance=Provenance(file="x", sha256="f" * 64, size_bytes=0, rows=1, start=None)
    )
    review: Any = SimpleNamespace(log=log, flights=(1, 2))
    assert usual.beside(book, "tern", review) == (
        (1, ["a", "b"], [1]),
        (2, ["a", "b"], [1]),
    )


def test_what_is_faulty_never_becomes_usual(make_flight: Make) -> None:
    """Flights in which a finding was open at a place are left out there, and counted."""
    rows = [{("tail", "start_v"): v, ("bus", "start_v"): v} for v in (8.0, 8.1, 8.2, 9.8, 9.9)]
    earlier = [make_flight(e) for e in rows]

    def ranges(faulty: dict[str, list[int]]) -> dict[str, tuple[int, int, bool]]:
        found = usual.compare(_review(9.0), earlier, faulty=faulty)
        return {c.place: (c.flights, c.left_out, c.outside) for c in found}

    assert ranges({})["tail"] == (5, 0, False)
    assert ranges({"tail": [3, 4]}) == {"tail": (3, 2, True), "bus": (5, 0, False)}
    assert ranges({"": [3, 4]}) == {"tail": (3, 2, True), "bus": (3, 2, True)}
    assert "tail" not in ranges({"tail": [2, 3, 4]}), "too few are left to tell what is usual"


def test_a_ratio_is_not_usual_where_either_side_was_at_fault(make_flight: Make) -> None:
    name = ("right wing", "stir_mirror_ratio")
    earlier = [make_flight({name: v}) for v in (1.0, 1.0, 1.1, 0.6)]
    now = Measure(place="right wing", feature="stir_mirror_ratio", value=0.7, unit="")
    (row,) = usual.compare(_review(now), earlier, faulty={"left wing": [3]})
    assert (row.flights, row.left_out, row.outside) == (3, 1, True)


def test_flights_with_an_open_finding(make_flight: Make) -> None:
    """From the flight that a finding began with until the one after which it was closed."""
    listed = tuple(HistoryFlight(id=i, start=None, file="") for i in "abcdef")

    def finding(place: str | None, since: str, **more: Any) -> Finding:
        return Finding(
            code="x", level=Level.WATCH, place=place, title="", since_flight=since, **more
        )

    shut: dict[str, Any] = {
        "state": "closed",
        "closed_by": ClosedBy(kind="repaired", date=None, before=4),
    }
    history = History(
        name="x", aircraft=Aircraft(), flights=listed, notes=(), features=(), trends=(),
        findings=(
            finding("tail", "e"), finding("tail", "b", **shut), finding(None, "f"),
            replace(finding("bus", "a"), level=Level.UNKNOWN),
        ),
    )  # fmt: skip
    assert usual.faulty_flights(history) == {"tail": set("bcdef"), "": {"f"}}


def _review(now: float | Measure) -> Any:
    """A review whose flight measured this, or this voltage at two places."""
    both = (
        (one("start_v", now), one("start_v", now, place="bus"))
        if isinstance(now, float)
        else (now,)
    )
    return SimpleNamespace(aircraft=Aircraft(), measured=both)


@pytest.fixture(autouse=True)
def measured(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = usual.measure_flight

    def measure_flight(review: Any, number: int) -> Any:
        given = getattr(review, "measured", None)
        return SimpleNamespace(features=given) if given else whole(review, number)

    monkeypatch.setattr(usual, "measure_flight", measure_flight)
