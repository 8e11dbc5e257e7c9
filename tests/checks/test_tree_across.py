"""Which place feeds which, by profile, names and what was measured."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Node, Pack
from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.tree import current_of, fed_places, root_of, whole_of
from tests.trends.conftest import blocks

Make = Callable[..., Any]


@pytest.fixture
def case(make_case: Make, make_flight: Make) -> Callable[..., AircraftHistory]:
    """A case of one flight with currents and voltages at these places."""

    def case(
        amps: Sequence[str], volts: Sequence[str], aircraft: Aircraft | None = None
    ) -> AircraftHistory:
        air = blocks({p: [1.0] for p in amps}, {p: [7.0] for p in volts})
        made: AircraftHistory = make_case([make_flight(air=air)], aircraft=aircraft)
        return made

    return case


ONE = Aircraft(packs=(Pack(name="pack 1"),))
TWO = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))


class TestTree:
    @pytest.mark.parametrize(
        ("volts", "aircraft", "root"),
        [
            (["tail", "bus", "pack 1"], None, "bus"),
            (["tail", "pack 1"], None, "pack 1"),
            (["tail", "pack 1", "pack 2"], None, None),
            (["tail"], None, None),
            (["bus"], Aircraft(bus="junction"), "junction"),
            (["bus", "pack 1"], ONE, "pack 1"),
        ],
    )
    def test_root(
        self, case: Make, volts: list[str], aircraft: Aircraft | None, root: str | None
    ) -> None:
        assert root_of(case([], volts, aircraft)) == root

    def test_places_that_are_fed(self, case: Make) -> None:
        volts = ["bus", "tail", "receiver", "pack 1", "extra", "nose"]
        assert fed_places(case([], volts)) == [
            ("tail", "bus"),
            ("receiver", "bus"),
            ("nose", "bus"),
        ]
        # The profile may know a place by another name, and what feeds it.
        craft = Aircraft(
            bus="bus",
            nodes=(
                Node(name="extra", fed_from="tail"),
                Node(name="tail", fed_from="bus"),
                Node(name="nose", fed_from="nose"),
                Node(name="receiver", fed_from="unseen"),
            ),
        )
        assert fed_places(case([], volts, craft)) == [("tail", "bus"), ("extra", "tail")]
        assert fed_places(case([], ["tail", "pack 1", "pack 2"])) == []
        # The root feeds itself not, though it is a node.
        root = Aircraft(bus="tail")
        assert fed_places(case([], ["tail", "nose"], root)) == [("nose", "tail")]

    def test_current_of_a_lead(self, case: Make) -> None:
        craft = Aircraft(
            bus="bus",
            nodes=(Node(name="tail", fed_from="bus"), Node(name="fin", fed_from="tail")),
        )
        made = case(["bus", "tail", "fin"], ["bus"], craft)
        assert current_of(made, "fin", "tail") == ("fin", True)
        # What the fin draws flows through the tail's lead as well.
        assert current_of(made, "tail", "bus") == ("bus", False)
        assert current_of(case(["tail"], ["bus"], craft), "fin", "tail") == ("tail", False)
        assert current_of(case(["total"], ["bus"], craft), "fin", "tail") == ("total", False)
        assert current_of(case([], ["bus"], craft), "fin", "tail") == (None, False)

    @pytest.mark.parametrize(
        ("amps", "aircraft", "whole"),
        [
            (["total", "bus", "junction"], Aircraft(bus="junction"), "junction"),
            (["total", "bus"], Aircraft(bus="junction"), "bus"),
            (["pack 1", "total"], None, "total"),
            (["tail", "pack 1"], None, "pack 1"),
            (["tail", "pack 1"], ONE, "pack 1"),
            (["tail", "pack 1"], ONE.model_copy(update={"bus": "junction"}), "pack 1"),
            (["pack 1", "pack 2"], None, None),
            (["pack 1"], TWO, None),  # the other one's is not known
            (["tail"], None, None),
        ],
    )
    def test_the_whole(
        self, case: Make, amps: list[str], aircraft: Aircraft | None, whole: str | None
    ) -> None:
        assert whole_of(case(amps, [], aircraft)) == whole
