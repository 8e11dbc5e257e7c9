"""A current sensor that drifted: the balance tells that one did, ratios and drops whose it was."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.across import judge
from telemetry.results import Finding, Level
from telemetry.trends.measures import Blocks, Measures

PLACES = ("left wing", "right wing", "tail")
CRAFT = Aircraft(bus="bus", nodes=tuple(Node(name=p, fed_from="bus", servos=4) for p in PLACES))
N, SINCE = 18, 9


def told(reads: dict[str, float], draws: dict[str, float] | None = None) -> list[Finding]:
    """Findings where, from a flight on, sensors read and places draw so many times as before."""
    rng = np.random.default_rng(7)
    flights = []
    for k in range(N):
        moves = rng.uniform(0.8, 1.2) * (1.0 + 0.3 * rng.standard_normal(40))
        later = k >= SINCE
        true = {
            p: rng.normal(1.0, 0.02) * moves * ((draws or {}).get(p, 1.0) if later else 1.0)
            for p in PLACES
        }
        true["bus"] = 0.3 + sum(true.values())
        amps = {p: x * (reads.get(p, 1.0) if later else 1.0) for p, x in true.items()}
        blocks = Blocks(
            block_s=5.0, amps={p: x + 0.005 * rng.standard_normal(40) for p, x in amps.items()}
        )
        flights.append(
            Measures(
                kind="flight",
                start=None,
                file=f"{k + 1}.csv",
                duration_s=300.0,
                flight_s=200.0,
                update_s=0.2,
                temperature_c=None,
                features=(),
                stir=None,
                air=blocks,
                steps_a=dict.fromkeys(PLACES, 0.001),
                servos=dict.fromkeys(PLACES, 4),
            )
        )
    return list(judge(flights, aircraft=CRAFT).findings)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("factor", [0.9, 1.1])
def test_a_drift_of_a_tenth_is_told_at_its_place(place: str, factor: float) -> None:
    (found,) = told({place: factor})
    assert (found.code, found.place, found.level) == ("capacity-mismatch", place, Level.WATCH)
    assert found.since_flight == str(SINCE + 1)
    assert found.change is not None
    assert found.change.rise == pytest.approx(100 * (factor - 1.0), abs=2.5)


def test_a_drift_of_the_whole_accuses_no_node() -> None:
    assert told({"bus": 1.1}) == []


def test_a_place_that_draws_more_is_no_drift() -> None:
    (found,) = told({}, {"tail": 1.5})
    assert (found.code, found.place) == ("servo-current-rising", "tail")


def test_nothing_drifts_by_itself() -> None:
    assert told({}) == []
