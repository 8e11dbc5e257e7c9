"""On which side of its limit a rule on one flight falls, and what speaks for a cause, by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.checks.causes.across_table import TABLE_ACROSS
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.causes.table import TABLE
from telemetry.results import Droop, DroopKind, Finding, Level, Origin, Resistance
from tests.checks.test_findings import fall, found_in, low, offset, told
from tests.checks.test_one_cause import knee

# Slow or sudden, a fault in the way of a pack comes either way.
EITHER_WAY = {(CauseKind.PACK_PATH, "gradual")}


@pytest.mark.parametrize("table", [TABLE, TABLE_ACROSS], ids=["in a flight", "across"])
def test_a_sign_and_its_absence_never_speak_for_the_same(table: Any) -> None:
    for kind, looks in table.items():
        for look, (there, absent) in looks.items():
            alike = there * absent > 0 and (kind, look.__name__) not in EITHER_WAY
            assert not alike, (kind, look.__name__)
            assert there or absent, (kind, look.__name__)


def droop(kind: DroopKind, lowest_v: float, times: int = 3, readings: int = 3) -> Droop:
    return Droop(
        start_s=150.0, end_s=151.0, place="bus", kind=kind, held_v=8.0, lowest_v=lowest_v,
        lowest_s=150.5, pack_v=8.1, times=times, readings=readings, current_a=12.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "lowest_v", "times", "readings", "level"),
    [
        (DroopKind.DROP_OUT, 6.75, 3, 3, Level.GROUND),
        (DroopKind.DROP_OUT, 6.9, 3, 3, Level.WATCH),  # less than 15 % of 8 V
        (DroopKind.DROP_OUT, 6.75, 2, 5, Level.WATCH),
        (DroopKind.DROP_OUT, 6.75, 2, 6, Level.GROUND),
        (DroopKind.LIMIT, 7.5, 3, 3, Level.GROUND),
        (DroopKind.LIMIT, 7.5, 2, 5, Level.WATCH),
        (DroopKind.LIMIT, 7.5, 1, 6, Level.GROUND),
    ],
)
def test_a_held_supply_that_falls_grounds_where_it_is_no_accident(
    kind: DroopKind, lowest_v: float, times: int, readings: int, level: Level
) -> None:
    found = found_in(droops=(droop(kind, lowest_v, times, readings),))
    assert told(found) == [("regulator-droop", "bus", level)]
    assert found[0].evidence["deepest_v"] == 8.0 - lowest_v


@pytest.mark.parametrize(("depth_v", "level"), [(0.75, Level.GROUND), (0.7, Level.WATCH)])
def test_a_pack_that_lost_a_tenth_at_its_end_is_empty(depth_v: float, level: Level) -> None:
    one = replace(knee("pack 1"), before_v=7.5, depth_v=depth_v, end_v=7.5 - depth_v)
    assert [f.level for f in found_in(knees=(one,)) if f.code == "pack-low"] == [level]


@pytest.mark.parametrize(("low_v", "level"), [(0.25, Level.CLEAR), (0.26, Level.WATCH)])
def test_an_offset_is_watched_from_over_a_quarter_volt(low_v: float, level: Level) -> None:
    found = found_in(resistances=(offset("left wing", low_v, low_v + 0.1),))
    assert [f.level for f in found if f.code == "sensor-offset"] == [level]


def cause(found: Finding, text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    (one,) = [c for c in found.causes if text in c.cause]
    return one.speaks_for, one.speaks_against


@pytest.mark.parametrize(
    ("start_s", "speaks_for", "against"),
    [
        (150.0, (), ("it came early in the flight",)),  # of 100 s to 400 s
        (200.0, (), ("it came early in the flight",)),
        (201.0, (), ()),
        (299.0, (), ()),
        (300.0, ("it came late in the flight",), ()),
    ],
)
def test_what_grows_with_the_heat_comes_late(
    start_s: float, speaks_for: tuple[str, ...], against: tuple[str, ...]
) -> None:
    (found,) = found_in(fall(start_s, Origin.SUPPLY, place="bus"))
    got = cause(found, "too hot")
    assert tuple(x for x in got[0] if "in the flight" in x) == speaks_for
    assert tuple(x for x in got[1] if "in the flight" in x) == against


def source(place: str, mohm: float) -> Resistance:
    return Resistance(
        kind="source", place=place, parent=None, mohm=mohm, low_mohm=mohm - 1, high_mohm=mohm + 1,
        updates=400,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("packs_mohm", "of_packs"),
    [(60.0, True), (48.0, True), (45.0, None), (35.0, None), (32.0, False), (20.0, False)],
)
def test_two_packs_side_by_side_have_half_the_resistance_of_one(
    packs_mohm: float, of_packs: bool | None
) -> None:
    """Kirchhoff: 48 mOhm each are 24 of the 40 up to the bus, which is most (0.6) of it."""
    packs = (source("pack 1", packs_mohm), source("pack 2", packs_mohm))
    found = found_in(low=(low("bus", 4.6),), resistances=(source("bus", 40.0), *packs))
    (one,) = [f for f in found if f.code == "undervoltage"]
    words = f"of 40 mOhm up to the bus the packs have {packs_mohm / 2:.0f}"
    speaks_for, against = cause(one, "pack")
    assert (words in speaks_for) is (of_packs is True)
    assert (words in against) is (of_packs is False)
