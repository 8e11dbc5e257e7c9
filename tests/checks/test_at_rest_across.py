"""A servo that is gone while its place moves as before: told by a step of the current at rest."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.across import judge
from telemetry.results import Finding, Level
from telemetry.trends.measures import Blocks, Measure, Measures

PLACES = ("left wing", "right wing", "tail")
CRAFT = Aircraft(bus="bus", nodes=tuple(Node(name=p, fed_from="bus", servos=4) for p in PLACES))
N = 16
Rest = Callable[[str, int], float]


def book(
    rest_a: Rest,
    *,
    step_a: float = 0.001,
    noise: float = 0.02,
    seed: int = 3,
) -> list[Measures]:
    """Flights in which all places move alike; their rests scatter by a hundredth."""
    rng = np.random.default_rng(seed)
    flights = []
    for k in range(N):
        moves = rng.uniform(0.8, 1.2) * (1.0 + 0.3 * rng.standard_normal(40))
        amps = {
            p: rng.uniform(0.98, 1.02) * moves + noise * rng.standard_normal(40) for p in PLACES
        }
        own = {p: rest_a(p, k) * rng.normal(1.0, 0.01) for p in PLACES}
        flights.append(
            Measures(
                kind="flight",
                start=None,
                file=f"{k + 1}.csv",
                duration_s=300.0,
                flight_s=200.0,
                update_s=0.2,
                temperature_c=None,
                features=tuple(
                    Measure(place=p, feature="rest_a", value=x, unit="A", low=x, high=x)
                    for p, x in own.items()
                ),
                stir=Blocks(block_s=1.0, amps={p: x[:10] for p, x in amps.items()}),
                air=Blocks(block_s=5.0, amps=amps),
                steps_a=dict.fromkeys(PLACES, step_a),
                servos=dict.fromkeys(PLACES, 4),
            )
        )
    return flights


def told(flights: list[Measures]) -> list[Finding]:
    return list(judge(flights, aircraft=CRAFT).findings)


@pytest.mark.parametrize("noise", [0.02, 0.3], ids=["moves alike", "moves as it likes"])
@pytest.mark.parametrize("place", ["tail", "left wing"])
def test_a_step_of_the_rest_by_a_servos_share_is_told(place: str, noise: float) -> None:
    rest: Rest = lambda p, k: 0.118 if p == place and k >= 8 else 0.150  # noqa: E731
    (found,) = told(book(rest, noise=noise))
    assert (found.code, found.place, found.level) == ("servo-silent", place, Level.WATCH)
    assert found.since_flight == "9"
    assert found.evidence["rest_alone"] is True
    assert found.change is not None
    assert found.change.rise == pytest.approx(-21, abs=3)
    assert found.change.before == pytest.approx(0.150, abs=0.003)
    assert found.change.now == pytest.approx(0.118, abs=0.003)


@pytest.mark.parametrize(
    "rest_a",
    [
        pytest.param(lambda *_: 0.150, id="steady"),
        pytest.param(lambda _, k: 0.150 - 0.032 * (k >= 8), id="all places together"),
        pytest.param(
            lambda p, k: 0.150 - 0.012 * (p == "tail" and k >= 8), id="under half a share"
        ),
        pytest.param(lambda p, k: 0.150 - 0.004 * max(k - 6, 0) * (p == "tail"), id="by degrees"),
    ],
)
def test_what_is_no_servo_gone(rest_a: Rest) -> None:
    assert [f for f in told(book(rest_a)) if f.code == "servo-silent"] == []


@pytest.mark.parametrize("place", ["tail", "right wing"])
def test_a_rest_that_rose_alone_is_told_there_and_not_at_the_mirror(place: str) -> None:
    (found,) = told(book(lambda p, k: 0.190 if p == place and k >= 8 else 0.150))
    assert (found.code, found.place, found.level) == ("servo-current-rising", place, Level.WATCH)
    assert "its moving current is as before" in found.title


def test_less_than_two_steps_of_the_sensor_tell_nothing() -> None:
    rest: Rest = lambda p, k: 0.118 if p == "tail" and k >= 8 else 0.150  # noqa: E731
    assert told(book(rest, step_a=0.02)) == []
