"""Several flights as one state: what is taken of which."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.circuit import together as module
from telemetry.circuit.known import Measured
from telemetry.measure.sharing import Sharing
from telemetry.numerics.intervals import Interval
from telemetry.results import Resistance


def resistance(mohm: float | None, place: str = "wing", parent: str | None = "bus",
               kind: str = "branch") -> Resistance:  # fmt: skip
    return Resistance(
        kind=kind, place=place, parent=parent, mohm=mohm, low_mohm=mohm, high_mohm=mohm, updates=9
    )


@pytest.mark.parametrize(
    ("found", "kept"),
    [
        ([1.0, 2.0], 2.0),
        ([2.0, 1.0], 1.0),
        ([1.0, None], 1.0),
        ([None, 2.0], 2.0),
        ([None, 2.0, None], 2.0),
        ([None, None], None),
    ],
    ids=str,
)
def test_the_newest_that_was_measured(found: list[float | None], kept: float | None) -> None:
    (got,) = module.newest_resistances([[resistance(x)] for x in found])
    assert got.mohm == kept


def test_the_newest_refusal_where_there_is_nothing_else() -> None:
    first, second = resistance(None), resistance(None)
    assert module.newest_resistances([[first], [second]])[0] is second


def test_kind_place_and_parent_tell_resistances_apart() -> None:
    apart = [resistance(1.0), resistance(2.0, "tail"), resistance(3.0, parent="pack 1"),
             resistance(4.0, kind="apparent")]  # fmt: skip
    assert [r.mohm for r in module.newest_resistances([apart])] == [1.0, 2.0, 3.0, 4.0]
    assert module.newest_resistances([]) == ()


def test_extremes_of_all_flights() -> None:
    flights = [{"bus": 7.0, "wing": 6.0}.items(), {"bus": 6.5, "tail": 5.0}.items(),
               {"bus": 7.5}.items()]  # fmt: skip
    assert module.extremes_of(flights, lowest=True) == {"bus": 6.5, "wing": 6.0, "tail": 5.0}
    assert module.extremes_of(flights, lowest=False) == {"bus": 7.5, "wing": 6.0, "tail": 5.0}


def test_the_highest_value_and_the_highest_that_may_have_been_missed() -> None:
    flights = [
        {"bus": Interval(20, 20, 21)}.items(),
        {"bus": Interval(18, 17, 25), "tail": Interval(3, 3, 4)}.items(),
    ]
    assert module.highest_peaks(flights) == {"bus": Interval(20, 20, 25), "tail": Interval(3, 3, 4)}
    assert module.highest_peaks(reversed(flights)) == {
        "bus": Interval(20, 20, 25),
        "tail": Interval(3, 3, 4),
    }


def test_nothing_reviewed_is_no_state() -> None:
    assert module.together([]) is None


@dataclass
class Told:
    """What one flight is said to have measured, and the phases it is known by."""

    lowest: float
    usual: float
    peak: float
    landing: float


def review(craft: Aircraft, *flights: tuple[str, str, float]) -> Any:
    """A review of flights: kind, name, and the resistance of the wing."""
    return SimpleNamespace(
        aircraft=craft,
        flights=[
            SimpleNamespace(
                kind=kind, phases=name, resistances=(resistance(mohm),), pack_outs=f"outs of {name}"
            )
            for kind, name, mohm in flights
        ],
    )


TOLD = {
    "first": Told(6.0, 3.0, 20.0, 7.5),
    "bench": Told(1.0, 99.0, 99.0, 9.9),
    "second": Told(6.5, 4.0, 15.0, 7.4),
}
OLD, NEW = (Aircraft.model_validate({"name": name}) for name in ("old", "new"))


@pytest.fixture
def stated(monkeypatch: pytest.MonkeyPatch) -> None:
    """Measurements as they are told; peaks are the names of the flights they come from."""

    def measured_in(
        phases: str, readings: str, craft: Aircraft, packs: Any, pooled: Any
    ) -> Measured:
        assert readings == f"readings of {phases}"
        # Only of the last one do shares and outs count.
        assert packs == (f"outs of {phases}" if pooled else Sharing())
        told = TOLD[phases]
        return Measured(
            lowest_v={"bus": told.lowest},
            usual_a={"bus": told.usual},
            peak_a={"bus": Interval.exact(told.peak)},
            landing_v={"bus": Interval.exact(told.landing)},
            no_return=dict(pooled),
        )

    def current_peaks(phases: str, readings: str, craft: Aircraft) -> dict[str, str]:
        return {"bus": f"{phases} of the {craft.name} one"}

    monkeypatch.setattr(module, "sharing_of", lambda *given: given[-1])
    monkeypatch.setattr(module, "readings_of", lambda _, flight: f"readings of {flight.phases}")
    monkeypatch.setattr(module, "measured_in", measured_in)
    monkeypatch.setattr(module, "current_peaks", current_peaks)
    monkeypatch.setattr(module, "pooled_peaks", ", ".join)


@pytest.mark.usefixtures("stated")
def test_the_flights_of_two_days_as_one_state() -> None:
    found = module.together(
        [
            review(OLD, ("flight", "first", 1.0), ("bench", "bench", 9.0)),
            review(NEW, ("flight", "second", 2.0)),
        ]
    )
    assert found is not None
    assert (found.aircraft, found.flights) == (NEW, 2)
    assert [r.mohm for r in found.resistances] == [2.0]
    assert found.measured.lowest_v == {"bus": 6.0}
    assert found.measured.usual_a == {"bus": 4.0}
    assert found.measured.peak_a == {"bus": Interval.exact(20.0)}
    assert found.measured.landing_v == {"bus": Interval.exact(7.4)}, "of the last flight"
    assert found.measured.no_return == {"bus": "first of the old one, second of the new one"}


@pytest.mark.usefixtures("stated")
def test_bench_recordings_count_where_nothing_flew() -> None:
    found = module.together([review(OLD, ("bench", "bench", 9.0))])
    assert found is not None
    assert found.flights == 1
    assert found.measured.lowest_v == {"bus": 1.0}
    assert module.together([review(OLD)]) is None
