"""What a regulator holds its bus at across flights: by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node, Pack
from telemetry.checks.across import judge
from telemetry.results import Finding, History, Level, OutcomeKind
from telemetry.trends.measures import Blocks, Measures

Make = Callable[..., Any]

CRAFT = Aircraft(
    bus="bus",
    packs=(Pack(name="pack 1"), Pack(name="pack 2")),
    nodes=tuple(Node(name=n, fed_from="bus") for n in ("left wing", "right wing")),
)
NOISE_V = 0.01 * np.random.default_rng(5).standard_normal((30, 3)).round(2)


@pytest.fixture
def season(make_flight: Make) -> Callable[..., History]:
    """Flights whose bus rests at these voltages, by default with wings and packs of 8.2 V."""

    def make(
        bus_v: Sequence[float], wing_v: Sequence[float] | None = None, pack_v: float = 8.2
    ) -> History:
        flights: list[Measures] = []
        for k, v in enumerate(bus_v):
            wing = v if wing_v is None else wing_v[k]
            rest = dict(zip(("bus", "left wing", "right wing"), (v, wing, wing), strict=True))
            row = {(p, "rest_v"): x + NOISE_V[k, i] for i, (p, x) in enumerate(rest.items())}
            # The packs rest at what is left of their charge, never twice alike.
            row |= {(p, "rest_v"): pack_v - 0.1 * (k % 4) for p in ("pack 1", "pack 2")}
            volts = {p: np.full(6, x) for p, x in (*rest.items(), ("pack 1", 8.0), ("pack 2", 8.0))}
            flights.append(make_flight(row, air=Blocks(block_s=10.0, amps={}, volts=volts)))
        return judge(flights, aircraft=CRAFT)

    return make


def droops(history: History) -> list[Finding]:
    return [f for f in history.findings if f.code == "regulator-droop"]


@pytest.mark.parametrize(
    ("by_v", "told"),
    [
        pytest.param(0.0, False, id="steady"),
        pytest.param(-0.1, False, id="less than what is told"),
        pytest.param(-0.4, True, id="lower"),
        pytest.param(0.4, True, id="higher: servos of that voltage suffer"),
    ],
)
def test_a_set_point_that_changed(season: Make, by_v: float, told: bool) -> None:
    history = season([6.0] * 10 + [6.0 + by_v] * 6)
    found = droops(history)
    assert bool(found) is told
    if told:
        (one,) = found
        assert (one.place, one.level, one.since_flight) == ("bus", Level.WATCH, "11")
        assert one.change is not None
        assert one.change.before == pytest.approx(6.0, abs=0.02)
        assert one.change.now == pytest.approx(6.0 + by_v, abs=0.03)
        assert one.change.rise == pytest.approx(by_v, abs=0.03)
        assert ("lower" if by_v < 0 else "higher") in one.title
        assert one.causes[0].kind in ("regulator-drift", "unnoted-change")


def test_it_drifts_by_degrees(season: Make) -> None:
    (one,) = droops(season([6.0] * 8 + [6.0 - 0.05 * k for k in range(1, 11)]))
    assert one.evidence["kind"] == "gradual"
    assert one.causes[0].kind == "regulator-drift"


def test_a_sensor_of_the_bus_alone_is_no_drift(season: Make) -> None:
    bus = [6.0] * 10 + [5.6] * 6
    assert droops(season(bus, wing_v=[6.0] * 16)) == []


def test_a_bus_that_follows_its_packs_is_held_by_nothing(season: Make) -> None:
    history = season([8.0] * 10 + [7.7] * 6)
    assert droops(history) == []
    (one,) = (c for c in history.checks if c.code == "regulator-droop")
    assert (one.place, one.outcome) == ("bus", OutcomeKind.NOT_JUDGED)
    assert "no regulator" in str(one.why)


def test_what_it_would_have_told_is_said(season: Make) -> None:
    (one,) = (c for c in season([6.0] * 12).checks if c.code == "regulator-droop")
    assert one.outcome is OutcomeKind.PASSED
    assert "0.15 V or more" in str(one.sees)
