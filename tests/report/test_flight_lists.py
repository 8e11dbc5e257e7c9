"""What the logbook lists on a screen: flights, marks and notes in order, and the aircraft."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.book import BookFlight, FlightMark, Note, NoteKind
from telemetry.report.documents.flights import FleetEntry, entry_words, render, render_fleet
from telemetry.results import AircraftStanding, Answer, Level

FLIGHT = BookFlight(
    id="a1b2c3d4e5f6a7b8c9", recording="", aircraft="tern", file="day 1.csv",
    start="2026-05-14T10:32:40", start_source="log", kind="flight", first_row=0, rows=9,
    duration_s=725.0, order=1, added="",
)  # fmt: skip
NOTE = Note(
    id="n1", aircraft="tern", kind=NoteKind.REPAIRED, text="new plug at the wing",
    place="left wing", date="2026-05-15T08:00:30", given=True, order=2, made="", number=3,
)  # fmt: skip
MARK = FlightMark(id="m1", flight=FLIGHT.id, at_s=83.0, text="hard landing", order=3, made="")


def lines(*entries: BookFlight | Note, marks: tuple[FlightMark, ...] = ()) -> list[str]:
    shown = render(entries, marks)
    assert max(map(len, shown.splitlines())) <= 80
    assert shown.endswith("\n")
    return shown.splitlines()[2:]


def test_a_flight_its_marks_and_a_note_stand_in_order() -> None:
    other = replace(
        FLIGHT, id="0" * 18, start="2026-05-16", kind="", packs="set B", duration_s=59.9
    )
    assert lines(FLIGHT, NOTE, other, marks=(MARK,)) == [
        "  1  2026-05-14 10:32  flight   12:05  a1b2c3d4e5f6a7b8c9  day 1.csv",
        " " * 23 + "mark at 01:23: hard landing (m1)",
        "     2026-05-15 08:00  note 3: repaired, left wing: new plug at the wing",
        "  2  2026-05-16        log      00:59  000000000000000000  day 1.csv",
        " " * 23 + "packs: set B",
        "",
        "2 flights. Ordered by date: 2 dated by the log.",
    ]


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({}, "1 flight. Ordered by date: 1 dated by the log."),
        ({"kind": "bench"}, "1 bench recording. Ordered by date: 1 dated by the log."),
        ({"start_source": "file name"}, "1 flight. Ordered by date: 1 by the file's name."),
        ({"start_source": "given"}, "1 flight. Ordered by date: 1 as given."),
        ({"start_source": "a new one"}, "1 flight. Ordered by date: 1 a new one."),
    ],
)
def test_what_the_order_rests_on(more: dict[str, Any], told: str) -> None:
    assert lines(replace(FLIGHT, **more))[-1] == told


def test_without_flights_or_dates_that_is_said() -> None:
    assert lines() == ["no flights yet"]
    bare = replace(NOTE, place=None, number=None)
    assert lines(bare) == [
        "     2026-05-15 08:00  note: repaired: new plug at the wing",
        "no flights yet",
    ]
    undated = replace(FLIGHT, start=None, start_source="order of adding")
    assert lines(undated)[0].startswith("  1  no date           flight")
    assert " ".join(lines(undated)[-2:]).endswith(
        "1 not at all: these stand where they were added."
    )


def test_long_names_are_cut_and_long_notes_wrapped() -> None:
    long = replace(FLIGHT, file="x" * 40)
    assert lines(long)[0].endswith("  " + "x" * 19 + "..")
    shown = lines(replace(NOTE, text="word " * 30))[:-1]
    assert len(shown) > 2
    assert all(line.startswith(" " * 23 + "word") for line in shown[1:])
    shown = lines(FLIGHT, marks=(replace(MARK, text="word " * 30),))[1:-2]
    assert shown[0].startswith(" " * 23 + "mark")
    assert all(line.startswith(" " * 25 + "word") for line in shown[1:-1])


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (FLIGHT, "tern, 2026-05-14 10:32, day 1.csv"),
        (replace(FLIGHT, number=7, start=None), "tern 7, no date, day 1.csv"),
        (MARK, "mark of flight a1b2c3d4e5f6a7b8c9 at 01:23: hard landing"),
        (NOTE, "tern, note 3 of 2026-05-15, repaired, left wing: new plug at the wing"),
        (
            replace(NOTE, number=None, place=None),
            "tern, note of 2026-05-15, repaired: new plug at the wing",
        ),
    ],
)
def test_an_entry_in_a_line(entry: BookFlight | Note | FlightMark, told: str) -> None:
    assert entry_words(entry) == told


def entry(name: str, level: Level | None, **more: Any) -> FleetEntry:
    answer = None
    if level is not None:
        answer = Answer(level=level, title="why it is so", source="history", **more)
    held = AircraftStanding(flights=12, benches=3, notes=1, newest="2026-05-14", answer=answer)
    return FleetEntry(name=name, standing=held)


def test_the_worst_aircraft_comes_first_and_of_alike_ones_by_name() -> None:
    shown = render_fleet(
        [
            entry("tern", Level.CLEAR),
            entry("none", None),
            entry("swift", Level.GROUND, since_number=5),
            entry("auk", Level.CLEAR),
            entry("gull", Level.WATCH),
        ]
    ).splitlines()
    assert max(map(len, shown)) <= 80
    assert [row[21:35].strip() for row in shown[2::2]] == ["swift", "gull", "auk", "none", "tern"]
    assert shown[2:4] == [
        "!!! ground            swift                12      3      1  2026-05-14  No. 5",
        "    Why it is so.",
    ]
    assert shown[8].startswith("<?> cannot be judged  none")
