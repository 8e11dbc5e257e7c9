"""What reaches the transmitter: readings in turn, late, coarse, skipped; and the oracle on them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.fleet.faults import Fault
from tests.fleet.labels import CODES, WORDS, random_labels
from tests.fleet.oracle import Evidence, evidence, visible_flights
from tests.fleet.season import Recording, Season, random_season, record
from tests.fleet.sensing import listen, rows
from tests.fleet.truth import FAULTS, HEALTHY
from tests.fleet.wear import SHAPES, random_wear


@pytest.fixture(scope="module")
def healthy() -> tuple[Season, Recording]:
    season = random_season(HEALTHY, 12, flights=8)
    return season, record(season, 1)


def test_readings_are_steps_of_the_truth_a_moment_ago(healthy: tuple[Season, Recording]) -> None:
    _, r = healthy
    for sensor in r.rig.sensors:
        h = r.heard[sensor.key]
        assert (h.taken_s <= h.time_s + 1e-9)[h.time_s > 1.0].all()
        steps = h.values / sensor.step
        np.testing.assert_allclose(steps, np.round(steps), atol=1e-6)
        true = sensor.gain * np.interp(h.taken_s, r.outing.time_s, r.flown.signals[sensor.key])
        off = h.values - true - sensor.offset
        assert abs(float(np.median(off))) < 0.6 * sensor.step + 3 * sensor.noise
        assert float(np.quantile(np.abs(off), 0.5)) < sensor.step + 0.05 * np.ptp(true) + 0.02


def test_units_answer_in_turn_and_skip(healthy: tuple[Season, Recording]) -> None:
    _, r = healthy
    rig = replace(r.rig, skips=0.3)
    heard = listen(np.random.default_rng(1), rig, r.outing.time_s, r.flown.signals)
    units = {u: heard[rig.of(u)[0].key].time_s for u in dict.fromkeys(rig.units)}
    every = np.concatenate(list(units.values()))
    assert len(np.unique(every)) == len(every)  # never two units in one slot
    for unit, times in units.items():
        asked = r.outing.time_s[-1] / rig.slot_s * rig.units.count(unit) / len(rig.units)
        assert 0.5 * asked < len(times) < 0.8 * asked


@pytest.mark.parametrize("kept", ["held", "news", "news held"])
def test_rows_hold_or_leave_blank(healthy: tuple[Season, Recording], kept: str) -> None:
    _, r = healthy
    rig = replace(r.rig, rows=kept)
    at, columns = rows(np.random.default_rng(1), rig, r.heard, float(r.outing.time_s[-1]))
    assert (np.diff(at) > 0).all()
    for key, values in columns.items():
        blank = float(np.isnan(values[len(values) // 4 :]).mean())
        assert (blank > 0.2) if kept == "news" else (blank == 0.0), key
        known = values[~np.isnan(values)]
        assert np.isin(np.round(known, 6), np.round(r.heard[key].values, 6)).all()


def test_words_name_every_column_once() -> None:
    for language, words in WORDS.items():
        assert len(set(words)) == len(words), language
    for codes in CODES:
        places = [v for k, v in codes.items() if k not in ("voltage", "current", "consumed")]
        assert len(set(places)) >= len(places) - 1
    for seed in range(60):
        labels = random_labels(np.random.default_rng(seed))
        assert labels.separator != labels.decimal
        names = [
            labels.header(place, quantity)
            for place in ("bus", "pack 1", "pack 2", "left wing", "right wing", "tail")
            for quantity in ("voltage", "current")
        ]
        assert len(set(names)) == len(names)
        assert all(n.strip() == n and n for n in names)


@pytest.mark.parametrize("shape", SHAPES)
def test_wear_takes_its_shape(shape: str) -> None:
    air_c = 15.0 + 10.0 * np.sin(np.arange(40) / 6.0)
    for seed in range(20):
        wear = random_wear(np.random.default_rng(seed), 40, air_c, [shape])
        levels = np.array(wear.levels)
        assert (levels[: wear.onset - 1] == 0.0).all()
        assert levels[wear.onset - 1] > 0.0
        last = len(levels) if wear.gone_at is None else wear.gone_at - 1
        assert (levels[last:] == 0.0).all()
        there = levels[wear.onset - 1 : last]
        if shape in ("line", "exponential", "saturating"):
            assert (np.diff(there) >= 0.0).all()
        elif shape == "step":
            assert (there == 1.0).all()


@pytest.mark.parametrize("kind", FAULTS)
def test_the_oracle_sees_a_gross_fault_and_nothing_in_a_sound_flight(kind: str) -> None:
    """Seeds are of no meaning; the same flights once with a gross fault."""
    season = random_season(kind, 22, flights=9)
    assert season.fault is not None
    assert season.wear is not None
    least = next(k for k in range(season.wear.onset, 10) if _touched(season, k))
    flights = [*range(1, 5), least]
    gross = replace(season, fault=_gross(season.fault))
    gross = replace(gross, wear=replace(season.wear, levels=(*[0.0] * (least - 1), *[1.0] * 9)))
    seen = [evidence(gross.fault, gross.aircraft, record(gross, k)) for k in flights]
    levels = [gross.level(k) for k in flights]
    assert visible_flights(gross.fault, seen, levels) == (5,)
    sound = replace(season, wear=replace(season.wear, levels=(0.0,) * 9))
    seen = [evidence(season.fault, season.aircraft, record(sound, k)) for k in flights]
    assert visible_flights(season.fault, seen, levels) == ()


def _touched(season: Season, flight: int) -> bool:
    fault = season.fault
    return fault is not None and fault.pack_set in (None, season.pack_set(flight))


def _gross(fault: Fault) -> Fault:
    """At a servo that moves, from the start on, and larger than any that is drawn."""
    # A resistance shows little of itself where hardly any current flows.
    softer = fault.kind in ("connector", "regulator-droop")
    times = 8.0 if softer else 4.0 if fault.kind.startswith("servo") else 2.0
    servo = None if fault.servo is None else 0
    return replace(fault, servo=servo, size=times * fault.size, at=0.0, limited=False)


def test_visible_is_five_errors_and_above_the_limit() -> None:
    fault = Fault(kind="connector", place="tail")
    before = [Evidence(value=v, error=0.001, limit=0.008) for v in (0.030, 0.031, 0.029, 0.030)]
    levels = [0.0, 0.0, 0.0, 0.0, 1.0]

    def seen(value: float, error: float = 0.001) -> tuple[int, ...]:
        last = Evidence(value=value, error=error, limit=0.008)
        return visible_flights(fault, [*before, last], levels)

    assert seen(0.0399) == (5,)
    assert seen(0.0370) == ()  # below the limit
    assert seen(0.0399, error=0.002) == ()  # below five errors
    assert seen(0.0201) == (5,)
    assert visible_flights(fault, [None] * 5, levels) == ()
