"""Charge records of the book: what was drawn since the last charge, worked out by hand."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import telemetry
from telemetry.book import Logbook
from telemetry.season import drawn_before

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
