"""Over which stretches the packs' shares of one flight are judged, and that each is judged once."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure import sharing
from telemetry.measure.sharing import loaded_stretches, sharing_of
from telemetry.results import OutKind, PackOut, Phase, PhaseKind

CRAFT = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
STIR, GROUND, FLIGHT = PhaseKind.STIR, PhaseKind.GROUND, PhaseKind.FLIGHT
CHECK = PhaseKind.REDUNDANCY_CHECK


def phases(*parts: tuple[PhaseKind, float, float]) -> tuple[Phase, ...]:
    return tuple(Phase(kind=kind, start_s=a, end_s=b) for kind, a, b in parts)


FLOWN = phases((STIR, 0, 20), (CHECK, 20, 30), (GROUND, 30, 100), (FLIGHT, 100, 300))
STIRRED = phases((STIR, 0, 20), (CHECK, 20, 30), (STIR, 30, 40))


def out(place: str, start_s: float, end_s: float) -> PackOut:
    return PackOut(
        place=place, kind=OutKind.LOST, start_s=start_s, end_s=end_s, back=True,
        share_before=None, carried_a=None, bus_v=None, own_v=None,
    )  # fmt: skip


OUTS = (out("pack 1", 10.0, 15.0), out("pack 2", 14.0, 110.0))


@pytest.mark.parametrize(
    ("flown", "outs", "of_flight", "giving", "under_load"),
    [
        (FLOWN, (), [(100, 300)], [(100, 300)], [(0, 20), (100, 300)]),
        (FLOWN, OUTS, [(100, 300)], [(110, 300)], [(0, 10), (110, 300)]),
        (STIRRED, (), [(0, 20), (30, 40)], [(0, 20), (30, 40)], [(0, 20), (30, 40)]),
        (STIRRED, OUTS, [(0, 20), (30, 40)], [(0, 10)], [(0, 10)]),
        (phases((GROUND, 0, 90)), OUTS, [], [], []),
    ],
)
def test_which_stretches_count(
    flown: tuple[Phase, ...],
    outs: tuple[PackOut, ...],
    of_flight: list[tuple[float, float]],
    giving: list[tuple[float, float]],
    under_load: list[tuple[float, float]],
    make_readings: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []
    monkeypatch.setattr(sharing, "pack_shares", lambda *given: asked.append(given[2]) or given[2])
    found = sharing_of(make_readings({}), CRAFT, flown, outs)
    assert found.outs == outs
    assert list(found.of_flight) == of_flight
    assert list(found.giving) == giving == list(loaded_stretches(flown, outs))
    assert list(found.under_load) == under_load
    assert len(asked) == len(set(asked)), "the same stretches are judged once"
