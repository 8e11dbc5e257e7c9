"""Floors under load, from the profile or from the voltage at rest."""

from __future__ import annotations

import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.floors import RestFloor, pack_floors, rest_floor
from tests.measure.conftest import reading, readings

BARE = Aircraft.model_validate({"packs": [{"name": "pack 1"}]})


def pack(**more: object) -> Aircraft:
    return Aircraft.model_validate({"packs": [{"name": "pack 1", **more}]})


@pytest.mark.parametrize(
    ("chemistry", "cells", "floor"),
    [("lipo", 2, 6.6), ("liion", 2, 6.0), ("life", 2, 5.6), ("nimh", 5, 5.0)],
)
def test_the_profile_says_it(chemistry: str, cells: int, floor: float) -> None:
    craft = pack(chemistry=chemistry, cells=cells)
    # However few readings: nothing is guessed.
    assert pack_floors(readings(reading("pack 1", [9.0])), craft) == {
        "pack 1": pytest.approx(floor)
    }


@pytest.mark.parametrize("more", [{"chemistry": "nimh"}, {"cells": 3}], ids=str)
def test_half_of_it_is_not_enough(more: dict[str, object]) -> None:
    # 8.25 V at rest may be two cells of lipo (6.6) or lithium-ion (6.0), or six or seven of nickel
    # metal hydride (6.0): the lowest.
    r = readings(reading("pack 1", [8.25] * 20))
    assert pack_floors(r, pack(**more)) == {"pack 1": pytest.approx(6.0)}


def test_the_first_twenty_readings_are_at_rest() -> None:
    # Their median is 8.25 V whatever comes later; 19 are too few; of 40 V nothing is known.
    later = [8.25] * 20 + [6.4] * 30
    assert pack_floors(readings(reading("pack 1", later)), BARE) == {"pack 1": pytest.approx(6.0)}
    assert pack_floors(readings(reading("pack 1", [8.25] * 19)), BARE) == {}
    assert pack_floors(readings(reading("pack 1", [99.0] * 20)), BARE) == {}
    odd = [6.4] * 9 + [8.25] * 11 + [6.4] * 50
    assert pack_floors(readings(reading("pack 1", odd)), BARE) == {"pack 1": pytest.approx(6.0)}


def test_only_packs_have_a_floor_and_one_does_not_hide_the_next() -> None:
    r = readings(
        reading("pack 1", [9.0]), reading("bus", [8.25] * 20), reading("pack 2", [8.25] * 20)
    )
    assert pack_floors(r, BARE) == {"pack 2": pytest.approx(6.0)}
    known = pack(chemistry="lipo", cells=2)
    assert list(pack_floors(r, known)) == ["pack 1", "pack 2"]


def test_a_chemistry_alone_leaves_the_cells_to_the_voltage() -> None:
    r = readings(reading("pack 1", [8.25] * 20))
    assert pack_floors(r, pack(chemistry="lipo")) == {"pack 1": pytest.approx(6.6)}


# At rest. Lithium-polymer 3.0 V: common practice, no source; the lowest voltages of lithium-ion and
# iron phosphate are those of cell makers' tables.


@pytest.mark.parametrize(
    ("chemistry", "floor", "damage"),
    [("lipo", 6.6, 6.0), ("liion", 6.0, 5.0), ("life", 5.6, 4.0), ("nimh", None, None)],
)
def test_a_lithium_pack_has_a_floor_at_rest(
    chemistry: str, floor: float | None, damage: float | None
) -> None:
    known = Pack.model_validate({"name": "pack 1", "chemistry": chemistry, "cells": 2})
    found = rest_floor(known, [None])
    if floor is None or damage is None:
        assert found is None
    else:
        assert found is not None
        assert found == pytest.approx(RestFloor(floor, damage, 2))


@pytest.mark.parametrize(
    ("told", "rests", "floor"),
    [
        ({}, [8.2, 5.8], (6.0, 5.0)),  # two cells of either kind: the lower one
        ({"chemistry": "lipo"}, [8.2, 5.8], (6.6, 6.0)),
        ({"cells": 2}, [5.8, 8.2], (6.0, 5.0)),
        ({"chemistry": "nimh"}, [8.2, 5.8], None),
        ({"cells": 3}, [8.2, 5.8], None),  # the profile and the voltage do not agree
        ({}, [5.8], None),  # nothing that is fit for flight rests there
        ({}, [None, None], None),
        ({}, [], None),
    ],
)
def test_no_chemistry_is_invented(told, rests, floor) -> None:
    found = rest_floor(Pack.model_validate({"name": "pack 1", **told}), rests)
    if floor is None:
        assert found is None
    else:
        assert found is not None
        assert found == pytest.approx((*floor, None))
