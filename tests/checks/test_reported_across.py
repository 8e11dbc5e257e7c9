"""Which findings of a review last: what no later flight shows gone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.checks.reported import closed_by_note_only
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Finding,
    Flight,
    Level,
    Origin,
    OutKind,
    OutSign,
    PackOut,
    Phase,
    PhaseKind,
)

W, G = Level.WATCH, Level.GROUND


def out(start_s: float, end_s: float) -> PackOut:
    return PackOut(
        place="pack 1",
        start_s=start_s,
        end_s=end_s,
        kind=OutKind.LOST,
        sign=OutSign.DEAD,
        back=False,
        share_before=0.5,
        carried_a=None,
        bus_v=None,
        own_v=None,
    )


def event(kind: EventKind, phase: PhaseKind, origin: Origin = Origin.CONTACT) -> Event:
    return Event(
        kind=kind,
        place="tail",
        start_s=50.0,
        end_s=51.0,
        phase=phase,
        origin=origin,
        evidence=Evidence.REAL,
    )


def lasts(code: str, level: Level, flight: Flight, **evidence: Any) -> bool:
    place = "pack 1" if code.startswith("pack") else "tail"
    return closed_by_note_only(
        Finding(code=code, level=level, place=place, title="", evidence=evidence), flight
    )


@pytest.fixture
def flight() -> Flight:
    """In the air from 100 to 400 s, and a stir before."""
    return Flight(
        kind="flight",
        start_s=0.0,
        end_s=450.0,
        phases=(
            Phase(kind=PhaseKind.STIR, start_s=40.0, end_s=60.0),
            Phase(kind=PhaseKind.FLIGHT, start_s=100.0, end_s=400.0),
        ),
    )


def test_a_pack_lost_in_the_air(flight: Flight) -> None:
    aloft = replace(flight, pack_outs=(out(200.0, 210.0),))
    ground = replace(flight, pack_outs=(out(20.0, 30.0),))
    assert lasts("pack-out", W, aloft)
    assert not lasts("pack-out", W, ground)
    # Nothing from first to last, of a pack that is to share: it flew without it.
    assert lasts("pack-out", G, flight)
    assert not lasts("pack-out", G, replace(flight, kind="bench"))
    assert not lasts("pack-share", G, aloft)


@pytest.mark.parametrize("level", [W, G])
@pytest.mark.parametrize("phase", [PhaseKind.FLIGHT, PhaseKind.STIR])
@pytest.mark.parametrize("evidence", list(Evidence))
def test_a_supply_lost(flight: Flight, level: Level, phase: PhaseKind, evidence: Evidence) -> None:
    """In flight, or surely; not where the unit's counter ran on."""
    seen = replace(flight, events=(event(EventKind.BROWNOUT, phase),))
    expected = evidence is not Evidence.TELEMETRY and (level is G or phase is PhaseKind.FLIGHT)
    assert lasts("brownout", level, seen, evidence=str(evidence)) is expected


@pytest.mark.parametrize(
    ("time_s", "expected"),
    [(99.0, False), (100.0, True), (402.0, True), (403.0, False), (None, False)],
)
def test_a_restart_in_flight(flight: Flight, time_s: float | None, expected: bool) -> None:
    assert lasts("restart", W, flight, time_s=time_s) is expected


@pytest.mark.parametrize(
    ("level", "phase", "origin", "expected"),
    [
        (G, PhaseKind.FLIGHT, Origin.CONTACT, True),
        (W, PhaseKind.FLIGHT, Origin.CONTACT, False),
        (G, PhaseKind.STIR, Origin.CONTACT, False),
        (G, PhaseKind.FLIGHT, Origin.PACK, False),
    ],
)
def test_a_contact_that_opened_in_flight(
    flight: Flight, level: Level, phase: PhaseKind, origin: Origin, expected: bool
) -> None:
    seen = replace(flight, events=(event(EventKind.SAG, phase, origin),))
    assert lasts("sag-unexplained", level, seen) is expected
