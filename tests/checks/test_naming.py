"""The servos that may be at fault: their chances and names, and what tells them apart."""

from __future__ import annotations

import pytest

from telemetry.aircraft import Servo
from telemetry.checks.servos.naming import (
    Suspect,
    named,
    of_one_log,
    separating_stir,
    told,
)
from telemetry.measure.currents.named import UNLOGGED


def servo(drives: str, output: int, count: int = 1) -> Servo:
    return Servo(node="left wing", output=output, drives=drives, count=count)


WING = (servo("left aileron", 1), servo("left aileron", 2), servo("left flap", 3))


def test_without_a_profile_the_columns_tell() -> None:
    found = of_one_log((), {"aileron": 0.7, "elevator": 0.1, UNLOGGED: 0.15})
    assert [(s.control, s.chance) for s in found] == [("aileron", 0.7), ("elevator", 0.1)]
    assert of_one_log((), {}) == ()


def test_without_columns_each_servo_of_the_profile_counts() -> None:
    """A flap, which no stick moves, for three tenths: 2 to 0.3."""
    found = of_one_log(WING, {})
    assert [(s.name, s.chance) for s in found] == [
        ("aileron (outputs 1, 2)", pytest.approx(2.0 / 2.3)),
        ("flap (output 3)", pytest.approx(0.3 / 2.3)),
    ]
    # Of two servos that the profile does not list nothing is known: 2 to 0.3 to 2.
    assert of_one_log(WING, {}, unlisted=2)[0].chance == pytest.approx(2.0 / 4.3)


def test_columns_and_profile_together() -> None:
    """The flap is not logged: it has the odds of what is not, 0.2 of those of one that is."""
    measured = {"aileron": 0.1, "elevator": 0.05, UNLOGGED: 0.6}
    flap, aileron = of_one_log(WING, measured)
    odds = {"flap": 0.3 * 0.6 / 0.2, "aileron": 2.0 * 0.1, "alike": 0.25 * 2.3 / 2.0}
    total = sum(odds.values())
    assert (flap.control, aileron.control) == ("flap", "aileron")
    assert (flap.chance, aileron.chance) == pytest.approx(
        (odds["flap"] / total, odds["aileron"] / total)
    )


@pytest.mark.parametrize(("chance", "name"), [(0.9, "aileron"), (0.89, None)])
def test_one_is_named_from_nine_in_ten_on(chance: float, name: str | None) -> None:
    likely = (Suspect(control="aileron", chance=chance), Suspect(control="flap", chance=0.05))
    servo = named(likely)
    assert (None if servo is None else servo.name) == name
    assert (separating_stir(likely, 0.5) == "") is (name is not None)


def test_at_most_three_are_listed_and_none_below_five_in_a_hundred() -> None:
    likely = [
        Suspect(control=c, chance=p) for c, p in zip("abcd", (0.4, 0.3, 0.2, 0.1), strict=True)
    ]
    listed = told(likely)
    assert list(listed) == [f"suspect_{k}{end}" for k in (1, 2, 3) for end in ("", "_pct")]
    assert (listed["suspect_1"], listed["suspect_1_pct"]) == ("a", 40.0)
    assert (listed["suspect_3"], listed["suspect_3_pct"]) == ("c", 20.0)
    assert set(told([Suspect(control="a", chance=0.049)])) == set()


@pytest.mark.parametrize(
    ("controls", "update_s", "words"),
    [
        ((), 0.2, "move one control after the other, each alone for 5 s"),
        (("rudder",), 0.2, "move the rudder, and then one other control after the other, each"),
        (("aileron", "flap"), None, "move the aileron, then the flap, each alone for 5 s"),
        (("aileron", "flap"), 2.0, "each alone for 20 s"),  # ten readings
    ],
)
def test_the_stir_that_tells_them_apart(
    controls: tuple[str, ...], update_s: float | None, words: str
) -> None:
    likely = [Suspect(control=c, chance=0.4) for c in controls]
    assert words in separating_stir(likely, update_s)
