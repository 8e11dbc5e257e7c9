"""Packs, diodes and regulators of a second physics: faults found, sound ones not accused."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import Finding, Level, Review
from tests.simulated.supplies import HEALTHY, make_supply


@cache
def seen(seed: int, what: str, update_s: float) -> Review:
    """The review of a healthy kind, or of a fault."""
    kind, fault = (what, "") if what in HEALTHY else ("sound", what)
    scene = make_supply(seed, kind, fault, update_s=update_s)
    with TemporaryDirectory() as folder:
        return review(read_log(scene.write(Path(folder) / "log.csv")))


def of(one: Review, code: str, place: str) -> list[Finding]:
    return [f for f in one.findings if (f.code, f.place) == (code, place)]


def told(one: Review) -> set[str]:
    return {f.code for f in one.findings if f.level >= Level.WATCH}


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_a_half_charged_pack_behind_a_diode_waits_and_is_not_dead(update_s: float) -> None:
    one = seen(2101, "half charged", update_s)
    (low,) = of(one, "pack-low", "pack 2")
    assert low.level is Level.WATCH
    assert "gives nothing until the other has come down" in low.title
    assert "pack-out" not in told(one)


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_a_pack_that_the_other_charges_is_told_with_its_danger(update_s: float) -> None:
    one = seen(2102, "cross charging", update_s)
    (low,) = of(one, "pack-low", "pack 2")
    assert low.level is Level.GROUND
    assert low.evidence["charged_a"] > 3.0
    assert "can burn" in low.advice
    assert "pack-out" not in told(one)


@pytest.mark.parametrize("update_s", [0.2, 1.0])
def test_a_pack_lost_in_a_calm_flight_is_no_check(update_s: float) -> None:
    one = seen(2000, "lost in calm", update_s)
    assert [f.level for f in of(one, "pack-out", "pack 2")] == [Level.GROUND]


@pytest.mark.parametrize("kind", ["diodes", "direct", "calm", "switch check"])
def test_sound_packs_give_their_part(kind: str) -> None:
    assert not told(seen(2104, kind, 0.5)) & {"pack-out", "pack-low"}
