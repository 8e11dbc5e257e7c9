"""The bench of seasons: its oracle, and how it counts what a book tells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry.checks.listed import CODES
from tests.accuracy.many_flights.drawing import Drawn, own_season
from tests.accuracy.many_flights.kinds import KINDS
from tests.accuracy.many_flights.running import Outcome, Told
from tests.accuracy.many_flights.sight import SURE, sight_of
from tests.accuracy.many_flights.tables import all_tables, delay


def _drawn(**more: object) -> Drawn:
    own = {"kind": "servo-binding", "places": ("left wing",), "onset": 8, "counts": 9} | more
    return Drawn(parents={"left wing": "bus"}, **own)  # type: ignore[arg-type]


def _outcome(*told: Told, **more: object) -> Outcome:
    own: dict[str, object] = {
        "generator": "own",
        "kind": "servo-binding",
        "path": "full",
        "seed": 1,
        "flights": 20,
        "flown": 26,
        "profile": False,
        "places": ["left wing"],
        "onset": 8,
        "counts": 9,
        "gone": 21,
        "told": list(told),
        "stirs": {},
    }
    return Outcome(**(own | more))  # type: ignore[arg-type]


def _told(place: str, *opened: tuple[int, int, str], code: str = "servo-current-rising") -> Told:
    return Told(code=code, place=place, across=True, opened=list(opened))


def test_every_code_of_a_kind_is_one_of_the_program() -> None:
    assert {c for kind in KINDS.values() for c in kind.codes} <= set(CODES)


def test_a_fault_counts_for_the_oracle_against_its_healthy_twin() -> None:
    rng = np.random.default_rng(5)
    sound = [{"left wing air": x} for x in rng.normal(0.0, 0.02, 20)]
    grown = [
        {"left wing air": look["left wing air"] + (0.1 if k >= 7 else 0.0)}
        for k, look in enumerate(sound)
    ]
    seen = sight_of(_drawn(), grown, sound)
    assert seen.size == pytest.approx(0.1)
    assert seen.sure > 2 * SURE
    small = [{"left wing air": x["left wing air"] + 0.005 * (k >= 7)} for k, x in enumerate(sound)]
    assert not sight_of(_drawn(), small, sound).visible


def test_flights_in_which_a_fault_does_not_count_yet_are_no_help() -> None:
    sound = [{"left wing air": 0.01 * (k % 3)} for k in range(20)]
    early = [{"left wing air": x["left wing air"] + (k == 7)} for k, x in enumerate(sound)]
    assert sight_of(_drawn(), early, sound).sure == 0.0


def test_a_finding_at_the_place_counts_from_the_onset_on() -> None:
    o = _outcome(_told("left wing", (5, 5, "watch"), (10, 26, "ground")))
    assert o.found() == 10
    assert delay(o) == 1
    assert _outcome(_told("right wing", (10, 26, "ground"))).found() is None
    assert _outcome(_told("left wing", (10, 26, "watch"))).found("ground") is None
    assert _outcome(_told("left wing", (22, 26, "watch"))).found() is None


def _state_row(o: Outcome) -> list[str]:
    lines = all_tables([o]).splitlines()
    head = next(k for k, line in enumerate(lines) if line.startswith("| fault | found | open"))
    return lines[head + 2].strip("| ").split(" | ")


def test_the_tables_tell_whether_a_finding_is_open_and_closed_in_time() -> None:
    kept = _told("left wing", (10, 23, "watch"))
    every, none = "100 % (21 to 100)", "0 % (0 to 79)"
    right = _outcome(kept, mended=[_told("left wing", (10, 20, "watch"))])
    # Open all the time; closed by the note; nothing that only a note closes; closed by flights.
    assert _state_row(right)[2:] == [every, every, "-", every, "3"]
    wrong = _outcome(_told("left wing", (10, 11, "watch"), (14, 26, "watch")), mended=[kept])
    assert _state_row(wrong)[2:] == [none, none, "-", none, "-"]


def test_a_season_is_the_same_with_flights_after_its_fault(tmp_path: Path) -> None:
    short, long = (own_season("connector", 3, 20, after, tmp_path)[0] for after in (0, 6))
    assert (short.places, short.onset, short.counts) == (long.places, long.onset, long.counts)
    assert short.gone is None
    assert long.gone == 21
    cured = [own_season("pack-out", 3, 20, after, tmp_path)[0].gone for after in (0, 6)]
    assert cured[0] == cured[1] is not None


def test_a_fault_that_the_maker_sees_is_seen() -> None:
    assert sight_of(_drawn(visible=(9, 10)), [], []).visible
    assert not sight_of(_drawn(visible=()), [], []).visible
