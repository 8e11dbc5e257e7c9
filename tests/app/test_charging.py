"""Charge records of the book: what was drawn since the last charge, worked out by hand."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import telemetry
from telemetry.aircraft import Aircraft, Pack, PackLabel
from telemetry.app.charging import charged_mah, drawn_before, is_note_for, used_in_flight
from telemetry.book import BookFlight, Logbook, Note, NoteKind
from telemetry.trends.measures import Measures

PROFILE = """\
name = "wren"
[[packs]]
name = "pack 1"
chemistry = "life"
cells = 2
capacity_mah = 2000
labels = [{ label = "W1", until = 2026-05-09 }, { label = "W2", since = 2026-05-09 }]
"""


def _log(folder: Path, number: int, day: str, amps: float = 3.0) -> Path:
    """Two minutes at some amperes between two at a tenth: 100 mAh at 3 A, and 7 at rest."""
    start = datetime.fromisoformat(f"{day}T10:00:00") + timedelta(hours=number)
    t = np.arange(0, 360.0, 0.5)
    flow = np.where((t >= 120) & (t < 240), amps, 0.1)
    lines = ["Time,Pack 1 U [V],Pack 1 I [A]"]
    lines += [
        f"{(start + timedelta(seconds=float(s))).isoformat(timespec='milliseconds')},"
        f"{6.6 - 0.03 * a:.2f},{a + 0.01 * (k % 2):.2f}"
        for k, (s, a) in enumerate(zip(t, flow, strict=True))
    ]
    path = folder / f"wren {number}.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    """Flown on 1, 3, 5 and 10 May; charged on the 2nd till full, 60 mAh on the 4th."""
    made = Logbook(tmp_path / "book")
    made.put_profile("wren", PROFILE)
    for number, day in enumerate(("2026-05-01", "2026-05-03", "2026-05-05", "2026-05-10")):
        made.add(telemetry.read_log(_log(tmp_path, number, day)), aircraft="wren")
    return made


def _before(book: Logbook, tmp_path: Path, day: str):
    log = telemetry.read_log(_log(tmp_path, 9, day))
    return log, drawn_before(book, "wren", log, book.profile("wren"))


EACH_MAH = (120 * 3.005 + 240 * 0.105) / 3.6


def test_without_a_record_nothing_is_claimed(book: Logbook, tmp_path: Path) -> None:
    _, drawn = _before(book, tmp_path, "2026-05-06")
    assert not drawn.on_record
    assert drawn.since_full_mah == {}
    assert drawn.flights_mah["pack 1"] == pytest.approx((EACH_MAH,) * 3, rel=0.02)


def test_charges_and_flights_add_up(book: Logbook, tmp_path: Path) -> None:
    book.note("wren", "charged till the charger stopped", kind="charged", on="2026-05-02")
    book.note("wren", "put 60 mAh in", kind="charged", place="W1", on="2026-05-04")
    book.note("wren", "1.9 Ah", kind="charged", place="pack 2", on="2026-05-04")
    _, drawn = _before(book, tmp_path, "2026-05-06")
    assert drawn.on_record
    found = drawn.since_full_mah["pack 1"]
    # Flights of 3 and 5 May less 99 % of what went in between; the flight of 1 May is charged up.
    assert found.value == pytest.approx(2 * EACH_MAH - 0.99 * 60, rel=0.02)
    assert found.low < found.value < found.high
    _, first = _before(book, tmp_path, "2026-05-02")
    assert first.since_full_mah["pack 1"].value == 0.0


def test_another_pack_in_its_place_has_a_record_of_its_own(book: Logbook, tmp_path: Path) -> None:
    book.note("wren", "charged W1", kind="charged", place="W1", on="2026-05-02")
    book.note("wren", "charged W2", kind="charged", place="W2", on="2026-05-08")
    _, drawn = _before(book, tmp_path, "2026-05-11")
    assert drawn.since_full_mah["pack 1"].value == pytest.approx(EACH_MAH, rel=0.02)


def test_a_review_counts_on_from_the_record(book: Logbook, tmp_path: Path) -> None:
    """The chemistry is flat: without records the charge at the start is taken as full."""
    book.note("wren", "charged", kind="charged", on="2026-05-02")
    log, drawn = _before(book, tmp_path, "2026-05-06")
    craft = book.profile("wren")
    (state,) = telemetry.review(log, craft, drawn).flights[0].packs
    assert (state.basis, state.label) == ("records", "W1")
    assert state.start_pct == pytest.approx(100 - 100 * 2 * EACH_MAH / 2000, abs=0.5)
    assert state.landing_pct == pytest.approx(100 - 100 * 3 * EACH_MAH / 2000, abs=0.7)
    (bare,) = telemetry.review(log, craft).flights[0].packs
    assert (bare.basis, bare.start_pct) == ("full", 100.0)


# By hand: amounts in notes, what a flight took, whose note it is.


@pytest.mark.parametrize(
    ("text", "mah"),
    [
        ("charged, 1850 mAh went in", 1850.0),
        ("1.9 Ah", 1900.0),
        ("1,9AH and 3 mAh", 1900.0),
        ("60 MAH", 60.0),
        ("till the charger stopped", None),
        ("3 cells, 2 A", None),
        ("12 mAhours", None),
    ],
)
def test_amount_of_a_note_within_3_percent(text: str, mah: float | None) -> None:
    found = charged_mah(text)
    if mah is None:
        assert found is None
    else:
        assert found is not None
        expected = (0.97 * mah, mah, 1.03 * mah)
        assert (found.low, found.value, found.high) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        pytest.param((100, 90, 115), (90, 100, 115), id="with its interval"),
        pytest.param(100, (100, 100, 100), id="without"),
        pytest.param((100, 120, 80), (100, 100, 100), id="an interval that misses it"),
        pytest.param((100, -3, 110), (0, 100, 110), id="never less than nothing"),
        pytest.param((-5, -10, 3), (0, 0, 3), id="charged in flight"),
        pytest.param((-5, -10, -1), (0, 0, 0), id="surely"),
    ],
)
def test_what_a_flight_took(make_flight, given, expected) -> None:
    found = used_in_flight(make_flight({("pack 1", "used_mah"): given}), "pack 1")
    assert found is not None
    assert (found.low, found.value, found.high) == expected
    assert used_in_flight(make_flight({("pack 1", "used_mah"): None}), "pack 1") is None
    assert used_in_flight(make_flight({("pack 2", "used_mah"): given}), "pack 1") is None


def _note(place: str | None, text: str = "charged", kind: NoteKind = NoteKind.CHARGED) -> Note:
    return Note(
        id="n",
        aircraft="wren",
        kind=kind,
        text=text,
        place=place,
        date="2026-05-01",
        given=True,
        order=0,
        made="",
    )


@pytest.mark.parametrize(
    ("place", "label", "own"),
    [
        (None, "W1", True),
        ("pack 1", "W1", True),
        ("pack 1", None, True),
        ("w1", "W1", True),
        ("w2", "W1", False),
        ("w1", None, False),
        ("pack 2", "W1", False),
    ],
)
def test_whose_charge_it_was(place: str | None, label: str | None, own: bool) -> None:
    labels = () if label is None else (PackLabel(label=label),)
    assert is_note_for(_note(place), Pack(name="pack 1", labels=labels)) is own


@pytest.fixture
def drawn(make_flight, monkeypatch: pytest.MonkeyPatch):
    """What is drawn by a record of notes and flights; a flight is its charge in mAh, or Measures.

    The flights are of pack 1, labelled W1 until 9 May and W2 from then on.
    """

    def make(*record, start: str | None = "2026-05-06T10:00:00", profile: bool = True):
        timeline, measured = [], {}
        for k, entry in enumerate(record):
            if isinstance(entry, Note):
                timeline.append(entry)
                continue
            timeline.append(
                BookFlight(
                    id=str(k),
                    recording="",
                    aircraft="wren",
                    file="",
                    start=None,
                    start_source="log",
                    kind="flight",
                    first_row=0,
                    rows=1,
                    duration_s=1.0,
                    order=k,
                    added="",
                )
            )
            if entry is not None:
                measured[str(k)] = entry if isinstance(entry, Measures) else flight(entry)
        monkeypatch.setattr("telemetry.app.charging.before", lambda *_: tuple(timeline))
        monkeypatch.setattr("telemetry.app.charging.measures_of", lambda *_: measured)
        pack = Pack(
            name="pack 1",
            labels=(
                PackLabel(label="W1", until=date(2026, 5, 9)),
                PackLabel(label="W2", since=date(2026, 5, 9)),
            ),
        )
        craft = Aircraft(name="wren", packs=(pack,)) if profile else None
        book = SimpleNamespace(profile=lambda _name: craft)
        log = SimpleNamespace(provenance=SimpleNamespace(start=start, packs=None))
        return drawn_before(book, "wren", log, craft)

    def flight(mah: float, label: str = "W1", kind: str = "flight") -> Measures:
        return make_flight({("pack 1", "used_mah"): mah}, labels={"pack 1": label}, kind=kind)

    return make, flight


def test_drawn_since_the_last_charge(drawn) -> None:
    make, _ = drawn
    found = make(100, _note("pack 1"), 200, _note(None, kind=NoteKind.REPAIRED), 300)
    assert found.since_full_mah["pack 1"].value == 500.0
    assert found.flights_mah == {"pack 1": (100.0, 200.0, 300.0)}
    assert found.on_record
    assert make(_note("pack 2"), 200).since_full_mah == {}
    # Without one the record tells nothing.
    bare = make(100, 200)
    assert (bare.since_full_mah, bare.on_record) == ({}, False)
    assert bare.flights_mah == {"pack 1": (100.0, 200.0)}


def test_a_run_on_the_bench_draws_but_is_no_flight(drawn) -> None:
    make, flight = drawn
    found = make(_note(None), flight(50, kind="bench"), flight(100))
    assert found.since_full_mah["pack 1"].value == 150.0
    assert found.flights_mah == {"pack 1": (100.0,)}


def test_flights_of_another_pack_or_without_measures_do_not_count(drawn) -> None:
    make, flight = drawn
    record = (_note(None), 100, flight(900, label="W2"), None)
    assert make(*record).since_full_mah["pack 1"].value == 100.0
    later = make(*record, start="2026-05-09T10:00:00")
    assert later.since_full_mah["pack 1"].value == 900.0
    # Without a day it is the pack that is still fitted.
    assert make(*record, start=None).since_full_mah["pack 1"].value == 900.0


def test_a_flight_whose_charge_nobody_knows(drawn, make_flight) -> None:
    make, _ = drawn
    found = make(_note(None), 100, make_flight(labels={"pack 1": "W1"}))
    assert found.since_full_mah == {}
    assert found.flights_mah == {"pack 1": (100.0,)}


def test_the_last_twenty_flights_tell_what_the_next_one_takes(drawn) -> None:
    make, _ = drawn
    found = make(*range(1, 26))
    assert found.flights_mah["pack 1"] == tuple(range(6, 26))


def test_without_a_profile_or_flights_nothing_is_known(drawn) -> None:
    make, _ = drawn
    for found in (make(_note(None), 100, profile=False), make(_note(None))):
        assert (found.since_full_mah, found.flights_mah, found.on_record) == ({}, {}, False)
