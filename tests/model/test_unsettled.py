"""Which supply columns a user still has to name, and the option that names each."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.model.channels import Channel, Quantity
from telemetry.model.unsettled import unsettled_supplies

VOLTS, AMPS, UNKNOWN = Quantity.VOLTAGE, Quantity.CURRENT, Quantity.UNKNOWN


def channel(column: str, quantity: Quantity, place: str | None, **more: Any) -> Channel:
    unit = {VOLTS: "V", AMPS: "A"}.get(quantity, "")
    given = {"source_unit": unit, "unit": unit, **more}
    return Channel(key=column, column=column, quantity=quantity, place=place, **given)


def found(*channels: Channel) -> list[tuple[str, str, str]]:
    numbered = dict(enumerate(channels, 2))
    return [(u.column, u.beside, u.set_line) for u in unsettled_supplies(numbered)]


BUS = (channel("Bus [V]", VOLTS, "bus"), channel("Bus [A]", AMPS, "bus"))
LEFT_V = channel("Vasen siipi jännite [V]", VOLTS, "vasen siipi jännite", own_word=True)
LEFT_A = channel("Vasen siipi virta [A]", AMPS, "vasen siipi virta", own_word=True)
RIGHT_V = channel("Oikea siipi jännite [V]", VOLTS, "oikea siipi jännite", own_word=True)
RIGHT_A = channel("Oikea siipi virta [A]", AMPS, "oikea siipi virta", own_word=True)


def test_a_lone_current_is_asked_to_the_voltage_it_is_named_like() -> None:
    assert found(*BUS, LEFT_V, RIGHT_V, RIGHT_A, LEFT_A) == [
        (
            RIGHT_A.column,
            RIGHT_V.column,
            "--set 'Oikea siipi virta [A]=oikea siipi jännite/current[A]'",
        ),
        (
            LEFT_A.column,
            LEFT_V.column,
            "--set 'Vasen siipi virta [A]=vasen siipi jännite/current[A]'",
        ),
    ]


def test_a_lowest_voltage_alone_counts_but_a_plain_one_goes_first() -> None:
    low = channel("Left wing low [V]", VOLTS, "left wing", hold="min")
    assert found(*BUS, low, LEFT_A)[0][1] == low.column
    named_alike = channel("Vasen siipi virta min [V]", VOLTS, "v", hold="min")
    assert found(*BUS, named_alike, LEFT_V, LEFT_A)[0][1] == LEFT_V.column


@pytest.mark.parametrize(
    "others",
    [
        (),
        (LEFT_V, RIGHT_V),  # nodes that report a voltage alone
        (LEFT_A, RIGHT_A),  # or a current alone
        (LEFT_V, channel("Servo 3 [A]", AMPS, "servo 3")),  # an output, by its name
        (LEFT_V, channel("Pump [A]", AMPS, "pump")),  # named by the user
        (LEFT_V, channel("x [A]", AMPS, "vasen siipi jännite", own_word=True)),
        (LEFT_V, channel("max [A]", AMPS, "vasen siipi max", own_word=True, hold="max")),
        (channel("Motor [V]", VOLTS, "motor"), LEFT_A),
        (channel("Pack 1 [V]", VOLTS, "pack 1"), LEFT_A),
    ],
)
def test_what_is_read_as_it_stands(others: tuple[Channel, ...]) -> None:
    assert found(*BUS, *others) == []


def test_a_supply_that_was_not_understood_is_asked_for() -> None:
    by_unit = channel("Heading", UNKNOWN, None, source_unit="mV")
    assert found(by_unit) == [("Heading", "", "--set 'Heading=PLACE/voltage[mV]'")]
    tied = channel("A7", UNKNOWN, None, rivals=("pack 7/current[A]", "pack 7/voltage[V]"))
    assert found(tied) == [("A7", "", "--set 'A7=pack 7/current[A]'")]
    # Weighed and set aside; no supply at all; words.
    assert found(channel("a", UNKNOWN, None, rivals=("current[A]",))) == []
    assert found(channel("Level", UNKNOWN, None, source_unit="%")) == []
    assert found(channel("State", UNKNOWN, None, source_unit="V", text=True)) == []


def test_a_column_without_a_name_of_its_own_goes_by_its_number() -> None:
    twice = channel("Loop", UNKNOWN, None, source_unit="A")
    lines = [line for _, _, line in found(twice, twice)]
    assert lines == ["--set '#2=PLACE/current[A]'", "--set '#3=PLACE/current[A]'"]
    assert found(channel(" ", UNKNOWN, None, source_unit="A"))[0][2].startswith("--set '#2=")
    # A place that holds a mark of the settings cannot be typed.
    odd = channel("[V]", VOLTS, "[v]", own_word=True)
    assert found(odd, LEFT_A)[0][2] == "--set 'Vasen siipi virta [A]=PLACE/current[A]'"


def test_what_has_three_axes_is_a_vector_and_no_supply() -> None:
    axes = [channel(f"Haltung_{a}", UNKNOWN, None, looks_like="current") for a in "xyzw"]
    assert found(*axes) == []
    assert len(found(axes[1])) == 1  # one alone says nothing
