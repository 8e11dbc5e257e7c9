"""Zeros in a voltage: a link lost and written as zeros, a false reading, a supply that opens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Limits
from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings.spurious import impossible
from telemetry.readings.zeros import without_zeros
from telemetry.results import Level, Review
from telemetry.results.readings import Reading
from tests.simulated.supplies import make_supply


@pytest.fixture(scope="module", params=[0.1, 0.2, 0.5, 1.0, 2.0])
def log(request, tmp_path_factory) -> Log:
    """A sound log with counters, at each interval."""
    scene = make_supply(7, "high voltage", update_s=request.param)
    return read_log(scene.write(tmp_path_factory.mktemp("zeros") / "log.csv"))


def told(one: Review) -> list[tuple[str, str | None, Level]]:
    return [(f.code, f.place, f.level) for f in one.findings if f.level >= Level.WATCH]


def changed(log: Log, at_s: list[float], lasts_s: float, keep: tuple[str, ...]) -> Log:
    """The log with zeros in all columns but those whose name holds a word to keep."""
    frame = log.frame.copy()
    t = log.time_s
    rows = np.zeros(t.size, dtype=bool)
    for at in at_s:
        rows |= (t >= at) & (t < at + lasts_s)
    for c in log.channels:
        if c.key in frame.columns and not any(word in c.key for word in keep):
            frame.loc[frame.index[rows & frame[c.key].notna().to_numpy()], c.key] = 0.0
    return replace(log, frame=frame)


def test_a_lost_link_written_as_zeros_is_lost_telemetry(log) -> None:
    plain = review(log)
    lost = review(changed(log, [100.0, 160.0, 200.0], 4.5, ("time", "consumed")))
    assert told(lost) == told(plain)
    assert sum(d.kind == "zeros" for d in lost.quality.dropouts) == 3


def held(*turns: int) -> Log:
    """Bus, packs and wings once a second, at 0 from these rows on to one of all."""
    t = np.arange(0.0, 60.0)
    places = ("bus", "pack 1", "pack 2", "left wing", "right wing")
    frame = pd.DataFrame({"pack 1/consumed": np.floor(t)}, index=pd.Index(t, name="time_s"))
    for place, turn in zip(places, turns, strict=True):
        volts = np.full(t.size, 7.4)
        volts[turn:36] = 0.0
        frame[f"{place}/voltage"] = volts
    channels = [
        Channel(key=key, column=key, quantity=Quantity(key.split("/")[1]), place=key.split("/")[0])
        for key in frame.columns
    ]
    about = Provenance(file="invented.csv", sha256="", size_bytes=0, rows=t.size)
    return Log(frame=frame, channels=tuple(channels), provenance=about)


def test_units_that_skip_their_turn_as_the_link_is_lost_do_not_make_it_a_supply() -> None:
    """Those read in that row turn together; one after the other they do not."""
    lost = held(30, 30, 30, 30, 30)
    for key in ("left wing/voltage", "right wing/voltage"):
        lost.frame.iloc[30, list(lost.frame.columns).index(key)] = np.nan
    assert [d.start_s for d in without_zeros(lost)[1]] == [30.0]
    assert without_zeros(held(28, 29, 29, 30, 30))[1] == ()


def test_zeros_after_which_a_counter_begins_again_are_a_supply_lost(log) -> None:
    gone = changed(log, [100.0], 4.5, ("time",))
    frame = gone.frame.copy()
    late = log.time_s >= 100.0
    back = int(np.searchsorted(log.time_s, 104.6))
    for key in [k for k in frame.columns if "consumed" in k]:
        counted = pd.Series(frame[key]).ffill().to_numpy()[back]
        frame.loc[frame.index[late], key] = np.maximum(
            frame.loc[frame.index[late], key] - counted, 0
        )
    assert ("brownout", "bus", Level.GROUND) in told(review(replace(gone, frame=frame)))


def test_a_wing_at_zero_again_and_again_grounds_at_every_sampling(log) -> None:
    step = max(float(np.median(np.diff(log.time_s))), 2.0 * (log.time_s[1] - log.time_s[0]))
    wing = [c.key for c in log.channels if c.place == "left wing"]
    others = tuple(k for k in log.frame.columns if k not in wing)
    at = [100.0, 131.0, 159.0, 203.0]
    opened = review(changed(log, at, max(step, 1.05 * 0.1), others))
    assert any(
        f.level is Level.GROUND and f.place == "left wing" and f.code == "brownout"
        for f in opened.findings
    )


def test_one_zero_of_one_place_is_a_false_reading(log) -> None:
    volts = next(c.key for c in log.channels if c.key == "left wing/voltage")
    at = int(np.searchsorted(log.time_s, 150.0))
    while not np.isfinite(log.values(volts)[at]):
        at += 1
    frame = log.frame.copy()
    frame.iloc[at, list(frame.columns).index(volts)] = 0.0
    one = review(replace(log, frame=frame))
    assert told(one) == told(review(log))
    assert [s.column for s in one.quality.spurious] == ["Left wing voltage (V)"]


def zeros_at(log: Log, key: str, at_s: list[float]) -> Log:
    """The log with the first reading of a column after each of these instants at 0."""
    frame, t, known = log.frame.copy(), log.time_s, np.isfinite(log.values(key))
    for at in at_s:
        row = int(np.flatnonzero(known & (t >= at))[0])
        frame.iloc[row, list(frame.columns).index(key)] = 0.0
    return replace(log, frame=frame)


def without(log: Log, key: str) -> Log:
    frame = log.frame.drop(columns=[key])
    return replace(log, frame=frame, channels=tuple(c for c in log.channels if c.key != key))


AGAIN_S = [100.0, 131.0, 159.0]


def test_a_bus_at_zero_while_all_that_it_feeds_goes_on_reads_wrong(log) -> None:
    """Its own current is not logged."""
    bare = without(log, "bus/current")
    one = review(zeros_at(bare, "bus/voltage", AGAIN_S))
    assert told(one) == told(review(bare))
    assert [s.place for s in one.quality.spurious] == ["bus"] * 3


def test_zeros_that_the_unit_s_own_lowest_voltage_denies_read_wrong(log) -> None:
    """Without a current beside it nothing else tells zeros of one place from a supply lost."""
    key = "left wing/voltage"
    volts = log.values(key)
    bare = without(log, "left wing/current")
    own = next(c for c in log.channels if c.key == key)
    least = replace(own, key=f"{key}/min", column="Left wing lowest voltage (V)", hold="min")
    lowest = np.fmin.accumulate(volts)
    frame = bare.frame.assign(**{least.key: lowest})
    held = replace(bare, frame=frame, channels=(*bare.channels, least))
    denied = review(zeros_at(held, key, AGAIN_S))
    assert told(denied) == told(review(held))
    assert [s.place for s in denied.quality.spurious] == ["left wing"] * 3
    assert any(f.place == "left wing" for f in review(zeros_at(bare, key, AGAIN_S)).findings)


def readings_of(zeros: dict[int, float], amps: dict[int, float]) -> tuple[Reading, Reading]:
    """A wing's voltage and current of a minute, with these readings changed."""
    t, rng = np.arange(0.0, 60.0, 0.5), np.random.default_rng(4)
    made = []
    for quantity, values, other in (
        (Quantity.VOLTAGE, np.round(rng.normal(8.2, 0.03, t.size), 2), zeros),
        (Quantity.CURRENT, np.round(rng.uniform(0.1, 0.24, t.size), 1), amps),
    ):
        values[list(other)] = list(other.values())
        key = f"left wing/{quantity}"
        channel = Channel(key=key, column=key, quantity=quantity, place="left wing")
        step = 0.01 if quantity is Quantity.VOLTAGE else 0.1
        made.append(Reading(channel=channel, t=t, v=values, update_s=0.5, resolution=step))
    return made[0], made[1]


def test_what_comes_back_between_two_zeros_is_no_jump_up() -> None:
    volts, amps = readings_of({40: 0.0, 42: 0.0}, {})
    assert 41 not in [first for first, _, _ in impossible(volts, [volts, amps], Limits())]


def test_a_current_that_flows_denies_a_zero_whatever_is_usual() -> None:
    """Two zeros at rest may be a supply lost twice; beside a load that went on one is none."""
    rest = readings_of({40: 0.0, 80: 0.0}, {})
    assert impossible(rest[0], list(rest), Limits()) == []
    loaded = readings_of({40: 0.0, 80: 0.0}, dict.fromkeys(range(37, 44), 1.3))
    assert [at for at, _, _ in impossible(loaded[0], list(loaded), Limits())] == [40, 80]
