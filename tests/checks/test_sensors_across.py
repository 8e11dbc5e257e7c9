"""A sensor that reads otherwise, or servos that draw otherwise: odds by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import log, nan
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.sensors import moved as sensors
from telemetry.trends.measures import Blocks
from telemetry.trends.parts import EvidencePart

Make = Callable[..., Any]
CRAFT = Aircraft(
    bus="bus", nodes=(Node(name="left wing", fed_from="bus"), Node(name="tail", fed_from="bus"))
)
PLACES = ("bus", "left wing", "tail")


@pytest.fixture
def case(make_case: Make, make_flight: Make) -> Callable[..., AircraftHistory]:
    """Flights by the currents of bus, left wing and tail in the air; 20 mOhm in the tail's lead."""

    def case(
        *amps: tuple[float, float, float],
        mohm: Sequence[float | None] | float = 20.0,
        stretches: Sequence[int] | int = 4,
        without: Sequence[str] = (),
        in_stir: Sequence[str] = (),
        aircraft: Aircraft = CRAFT,
    ) -> AircraftHistory:
        flights = []
        for k, row in enumerate(amps):
            n = stretches if isinstance(stretches, int) else stretches[k]
            currents = {}
            for p, a in zip(PLACES, row, strict=True):
                if p not in without:
                    currents[p] = np.array([a] * n + [nan] * (5 - n))
            volts = {p: np.full(5, 7.0) for p in PLACES}
            value = mohm if isinstance(mohm, float) else mohm[k]
            flights.append(
                make_flight(
                    {("tail", "branch_mohm"): value},
                    air=Blocks(
                        block_s=9.0,
                        amps={p: a for p, a in currents.items() if p not in in_stir},
                        volts=volts,
                    ),
                    stir=Blocks(block_s=9.0, amps=currents, volts=volts),
                )
            )
        made: AircraftHistory = make_case(flights, aircraft=aircraft)
        return made

    return case


class TestDrop:
    def test_falls_by_the_factor_that_the_sensor_reads_more(self, case: Make) -> None:
        # Mean of flights 1 to 3 is 20 mOhm; a sensor that reads 1.25 as much makes it 16.
        made = case(*[(5.0, 2.0, 2.0)] * 6, mohm=(99.0, 18.0, 20.0, 22.0, 9.0, 9.0))
        found = sensors.drop_of(made, "tail", 1, 4, log(1.25))
        # The stir's own voltage is that of the load; it says nothing.
        assert [p.name for p, _ in found] == ["air", "branch_mohm"]
        assert [x for _, x in found] == pytest.approx([-4.0, -4.0])
        less = sensors.drop_of(made, "tail", 1, 4, log(0.8))
        assert less[0][1] == pytest.approx(5.0)

    def test_nothing_without_a_parent_or_a_resistance(self, case: Make) -> None:
        made = case(*[(5.0, 2.0, 2.0)] * 4)
        assert sensors.drop_of(made, "left wing", 0, 2, 0.2) == []
        assert sensors.drop_of(made, "bus", 0, 2, 0.2) == []
        assert sensors.drop_of(made, "nose", 0, 2, 0.2) == []


class TestBalance:
    ROWS = ((5.0, 2.0, 1.0), (6.0, 2.0, 3.0), (7.0, 2.0, 5.0), (8.0, 2.0, 5.5))

    def test_total_less_all_places(self, case: Make) -> None:
        # Baseline: flights 1 and 2; the tail drew 4 A in the mean.
        ((part, expected),) = sensors.balance_moved(case(*self.ROWS), "tail", 1, 3, log(1.25))
        assert part.y.tolist() == [2.0, 1.0, 0.0, 0.5]
        assert part.at.tolist() == [0, 1, 2, 3]
        assert part.se.tolist() == [0.0] * 4
        # A quarter more of 4 A is missing in the balance.
        assert expected == pytest.approx(-1.0)
        assert part.sigma == pytest.approx(0.03 * 4.0)
        # The balance goes with the total, about its mean of 6.5 A, by the sensors' gains.
        assert part.design is not None
        assert part.slope is not None
        assert part.slope_sd is not None
        assert part.design.tolist() == [[-1.5], [-0.5], [0.5], [1.5]]
        assert (part.slope.tolist(), part.slope_sd.tolist()) == ([0.0], [0.02])

    def test_of_stretches_in_which_all_are_known_four_at_the_least(self, case: Make) -> None:
        made = case(*self.ROWS, stretches=(3, 4, 4, 4))
        ((part, _),) = sensors.balance_moved(made, "tail", 0, 2, 0.2)
        assert part.at.tolist() == [1, 2, 3]
        assert part.y.tolist() == [1.0, 0.0, 0.5]
        # None of them before the change; the flight of the change itself is none.
        assert sensors.balance_moved(made, "tail", 0, 1, 0.2) == []
        assert sensors.balance_moved(made, "tail", 2, 2, 0.2) == []
        assert len(sensors.balance_moved(made, "tail", 1, 2, 0.2)) == 1
        nothing = case(*self.ROWS, stretches=(0, 4, 4, 4))
        assert len(sensors.balance_moved(nothing, "tail", 0, 2, 0.2)) == 1

    def test_nothing_where_not_all_is_known(self, case: Make) -> None:
        assert sensors.balance_moved(case(*self.ROWS, without=("bus",)), "tail", 0, 2, 0.2) == []
        assert sensors.balance_moved(case(*self.ROWS, without=("tail",)), "tail", 0, 2, 0.2) == []
        assert sensors.balance_moved(case(*self.ROWS), "nose", 0, 2, 0.2) == []
        # A place that was measured in the stir alone is missing in the air.
        assert (
            sensors.balance_moved(case(*self.ROWS, in_stir=("left wing",)), "tail", 0, 2, 0.2) == []
        )


class TestSensorMoved:
    @pytest.mark.parametrize(("deviation", "told"), [(1.63, True), (1.64, False)])
    def test_odds_over_three_speak_for_the_sensor(
        self, case: Make, monkeypatch: pytest.MonkeyPatch, deviation: float, told: bool
    ) -> None:
        # Of -4 mOhm, if it is the sensor, all are seen: 4^2 / (2 x deviation^2); 3 at 1.633.
        made = case(*[(5.0, 2.0, 2.0)] * 6)

        def moved_since(part: EvidencePart, learn: np.ndarray) -> tuple[float, float] | None:
            assert learn.tolist() == [True] * 4 + [False] * 2
            assert part.at.min() == 1
            return (-4.0, deviation) if part.name == "air" else None

        monkeypatch.setattr(sensors, "moved_since", moved_since)
        assert (sensors.sensor_odds(made, "tail", 1, 4, log(1.25)) > sensors.SENSOR_SURE) is told

    @pytest.mark.parametrize(("odds", "told"), [(3.0, False), (3.01, True)])
    def test_odds_of_just_three_do_not(
        self, case: Make, monkeypatch: pytest.MonkeyPatch, odds: float, told: bool
    ) -> None:
        made = case(*[(5.0, 2.0, 2.0)] * 6)
        monkeypatch.setattr(
            sensors, "moved_since", lambda part, _: (0.0, 1.0) if part.name == "air" else None
        )
        monkeypatch.setattr(sensors, "log_odds", lambda *_: odds)
        assert (sensors.sensor_odds(made, "tail", 1, 4, 0.2) > sensors.SENSOR_SURE) is told

    def test_both_witnesses_add_up(self, case: Make, monkeypatch: pytest.MonkeyPatch) -> None:
        # The tail at 2 A: 0.5 A less in the balance, and 4 mOhm less drop per amp. Each seen at
        # two deviations: odds of 2 each.
        made = case(*[(5.0, 2.0, 2.0)] * 6)
        seen: dict[str, tuple[float, float]] = {"air": (-4.0, 2.0)}
        monkeypatch.setattr(sensors, "moved_since", lambda part, _: seen.get(part.name))
        assert sensors.sensor_odds(made, "tail", 1, 4, log(1.25)) <= sensors.SENSOR_SURE
        seen["balance"] = (-0.5, 0.25)
        assert sensors.sensor_odds(made, "tail", 1, 4, log(1.25)) > sensors.SENSOR_SURE
        # Against each other they say nothing.
        seen["balance"] = (0.0, 0.25)
        assert sensors.sensor_odds(made, "tail", 1, 4, log(1.25)) <= sensors.SENSOR_SURE
        seen.clear()
        assert sensors.sensor_odds(made, "tail", 1, 4, log(1.25)) <= sensors.SENSOR_SURE
