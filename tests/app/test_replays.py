"""What the book keeps of a replay: the same answers, one judgement a flight, who said otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from telemetry.app import replays
from telemetry.book import Logbook
from telemetry.checks import across
from telemetry.results import Level, NoteMark
from telemetry.trends.measures import Measures, ReportedFinding

Make = Callable[..., Any]


@pytest.fixture
def shelf(tmp_path: Path) -> Logbook:
    return Logbook(tmp_path / "book")


@pytest.fixture
def season(make_season: Make) -> list[Measures]:
    """Nine flights; from the fifth on the right wing draws ever more. All invented."""
    grows = {"right wing": lambda k: 1.0 + 0.1 * max(k - 4, 0)}
    made: list[Measures] = make_season(11, flights=9, current=grows)
    return made


@pytest.fixture
def asked(shelf: Logbook, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """The history of some flights, and which of them had to be judged."""

    def asked(flights: list[Measures], notes: tuple[NoteMark, ...] = ()) -> tuple[Any, list[int]]:
        judged: list[int] = []
        whole = across.together_at

        def together_at(k: int, *more: Any) -> Any:
            judged.append(k)
            return whole(k, *more)

        monkeypatch.setattr(replays, "together_at", together_at)
        listed = [replace(row, id=f"id-{row.id}") for row in across.judge(flights).flights]
        together = replays.together_of(shelf, "wren", flights, listed, notes, None)
        found = across.replay(flights, notes, name="wren", listed=listed, together=together)
        return replays.with_earlier(shelf, found, None), sorted(judged)

    return asked


def test_a_flight_more_costs_one_judgement(asked: Make, season: list[Measures]) -> None:
    _, judged = asked(season[:8])
    assert judged == list(range(8))
    whole, judged = asked(season)
    assert judged == [8]
    again, judged = asked(season)
    assert (again, judged) == (whole, [])
    assert whole.verdict > Level.CLEAR


def test_a_note_is_judged_from_where_it_stands(asked: Make, season: list[Measures]) -> None:
    note = NoteMark(kind="repaired", place="right wing", text="", date="2026-05-01", before=6)
    before, _ = asked(season)
    with_note, judged = asked(season, (note,))
    assert judged == [6, 7, 8]
    taken_back, judged = asked(season)
    assert judged == [6, 7, 8]
    assert taken_back == before
    assert with_note.findings != before.findings


def test_the_order_of_asking_does_not_matter(
    asked: Make, season: list[Measures], tmp_path: Path
) -> None:
    for k in (3, 7, 2, 9, 5):
        asked(season[:k])
    by_steps, _ = asked(season)
    listed = by_steps.flights
    fresh = replays.together_of(Logbook(tmp_path / "other"), "wren", season, listed, (), None)
    assert across.replay(season, name="wren", listed=listed, together=fresh) == by_steps


def test_what_is_damaged_is_judged_again(
    asked: Make, season: list[Measures], shelf: Logbook
) -> None:
    whole, _ = asked(season)
    path = shelf.path / "measures" / "replays" / "wren.json"
    doc = shelf.get_replay("wren")
    doc["together"][next(iter(doc["together"]))] = [{"code": "x"}]
    shelf.put_replay("wren", doc)
    again, judged = asked(season)
    assert (again, judged) == (whole, [0])
    path.write_text("{")
    assert asked(season)[0] == whole


def test_flights_that_the_book_lacks_are_not_kept(season: list[Measures], shelf: Logbook) -> None:
    listed = [replace(row, id=f"id-{row.id}") for row in across.judge(season).flights]
    args = (shelf, "wren", season, listed, (), None)
    first = replays.together_of(*args, lacking=("id-9",))
    kept = shelf.get_replay("wren")["together"]
    assert len(kept) == 8
    assert replays.together_of(*args) == first


def test_another_version_that_answers_otherwise_is_told(
    asked: Make, season: list[Measures], monkeypatch: pytest.MonkeyPatch
) -> None:
    before, _ = asked(season)
    assert before.earlier is None
    seen = ReportedFinding("pack-out", "pack 2", Level.GROUND, "pack 2 stopped", lasts=True)
    later = [*season[:4], replace(season[4], reported=(seen,)), *season[5:]]
    monkeypatch.setattr(replays, "VERSION", "next")
    after, _ = asked(later)
    assert after.earlier is not None
    assert after.earlier.level is before.verdict
    assert [tuple(f) for f in after.earlier.new] == [("pack-out", "pack 2", Level.GROUND)]
    assert after.earlier.gone == ()
    assert after.answer.earlier == after.earlier
    assert asked(later)[0].earlier == after.earlier, "as long as nothing is added"
    assert asked(later[:8])[0].earlier is None
