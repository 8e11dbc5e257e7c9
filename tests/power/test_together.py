"""Several flights as one state: what is taken of which."""

from __future__ import annotations

import pytest

from telemetry.power import together as module
from telemetry.power.intervals import Interval
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
    (got,) = module._newest([[resistance(x)] for x in found])
    assert got.mohm == kept


def test_the_newest_refusal_where_there_is_nothing_else() -> None:
    first, second = resistance(None), resistance(None)
    assert module._newest([[first], [second]])[0] is second


def test_kind_place_and_parent_tell_resistances_apart() -> None:
    apart = [resistance(1.0), resistance(2.0, "tail"), resistance(3.0, parent="pack 1"),
             resistance(4.0, kind="apparent")]  # fmt: skip
    assert [r.mohm for r in module._newest([apart])] == [1.0, 2.0, 3.0, 4.0]
    assert module._newest([]) == ()


def test_extremes_of_all_flights() -> None:
    flights = [{"bus": 7.0, "wing": 6.0}.items(), {"bus": 6.5, "tail": 5.0}.items(),
               {"bus": 7.5}.items()]  # fmt: skip
    assert module._extremes(flights, lowest=True) == {"bus": 6.5, "wing": 6.0, "tail": 5.0}
    assert module._extremes(flights, lowest=False) == {"bus": 7.5, "wing": 6.0, "tail": 5.0}


def test_the_highest_value_and_the_highest_that_may_have_been_missed() -> None:
    flights = [
        {"bus": Interval(20, 20, 21)}.items(),
        {"bus": Interval(18, 17, 25), "tail": Interval(3, 3, 4)}.items(),
    ]
    assert module._highest(flights) == {"bus": Interval(20, 20, 25), "tail": Interval(3, 3, 4)}
    assert module._highest(reversed(flights)) == {
        "bus": Interval(20, 20, 25),
        "tail": Interval(3, 3, 4),
    }


def test_nothing_reviewed_is_no_state() -> None:
    assert module.together([]) is None
