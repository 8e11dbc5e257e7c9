"""Counters of a few readings each: what is a fall, who ran on, how long a unit was silent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft
from telemetry.detect.restarts import (
    counter_falls,
    counter_ran_on,
    counter_ran_over,
    find_restarts,
    place_news,
    silence,
    unit_restarts,
)
from telemetry.model.channels import Quantity
from telemetry.model.log import Log, Provenance
from telemetry.results import Restart

CRAFT = Aircraft(bus="bus")

USED = Quantity.CONSUMED
NAN = float("nan")


@pytest.mark.parametrize(
    ("v", "resolution", "falls"),
    [
        ([100, 49], 1.0, [1]),
        ([100, 50], 1.0, []),
        ([30, 10], 10.0, []),
        ([31, 10], 10.0, [1]),
        ([100, 49, 60, 20, 30], None, [1, 3]),
        ([-100, -10], 1.0, []),
        ([-1, 0], None, []),
        ([100, 0, 100], None, []),
        ([100, -40], 1.0, [1]),
        ([100, -60], 1.0, []),
        ([100, 0, 100], 1.0, []),
        ([100, 0, 99], 0.5, []),
        ([100, 0, 98], 0.5, [1]),
        ([100, 0, 99], None, [1]),
        ([100, 0, 5, 100], 1.0, []),
        ([100, 0, 5, 6, 100], 1.0, [1]),
        ([100, 0, 100, 5], 1.0, [3]),
    ],
    ids=["under half", "half", "two steps", "over two steps", "no step known", "no fall",
         "none without a step", "back without a step",
         "below nothing", "as far below", "back at once", "back within two steps", "not quite back",
         "not quite, without steps", "back with the second", "back too late", "a later fall"],
)  # fmt: skip
def test_what_is_a_fall_of_a_counter(v, resolution, falls, make_reading) -> None:
    t = np.arange(float(len(v)))
    assert counter_falls(make_reading("tail", USED, t, v, resolution=resolution)) == falls


@pytest.mark.parametrize(
    ("t", "v", "ran_on"),
    [
        ((90, 101), (5, 5), True),
        ((90, 101), (5, 4), False),
        ((90, 101), (0, 0), False),
        ((90, 101), (-1, 0), False),
        ((96.9, 101), (5, 6), True),
        ((97, 101), (5, 6), False),
        ((90, 97, 101), (5, 9, 6), True),
        ((90, 100), (5, 6), False),
        ((90, 100, 101), (5, 1, 6), True),
        ((90, 130), (5, 6), True),
        ((90, 130.1), (5, 6), False),
        ((90, 101, 102), (5, 9, 4), False),
        ((101, 102), (5, 9), False),
        ((80, 90, 101), (9, 5, 6), True),
    ],
)
def test_a_counter_that_ran_on(t, v, ran_on, make_reading) -> None:
    """About 100 s: what it held until 3 s before, and all it told in the 30 s after."""
    assert counter_ran_on(make_reading("tail", USED, t, v), 100.0) is ran_on


# --- silence


def news(*parts: tuple[float, float, float]) -> np.ndarray:
    """First and last instant and step of each part, s."""
    return np.concatenate([np.arange(a, b + 0.5 * step, step) for a, b, step in parts])


@pytest.mark.parametrize(
    ("pause_s", "silent_s"),
    [(0.4375, 0.0), (0.5, 0.5), (2.0, 2.0)],
    ids=["under 0.5 s", "at it", "over"],
)
def test_a_boot_takes_half_a_second(pause_s: float, silent_s: float) -> None:
    at = 60.0 + pause_s
    assert silence(news((0, 60, 0.125), (at, at + 60, 0.125)), at, 3.0) == silent_s


def test_without_any_news_about_it_nothing_is_known() -> None:
    assert silence(news((0, 60, 0.5), (80, 120, 0.5)), 70.0, 3.0) is None
    assert silence(np.empty(0), 70.0, 3.0) is None


@pytest.mark.parametrize(
    ("back_s", "silent_s"),
    [(62.0, 2.0), (59.0625, 2.0), (59.0, 0.0), (62.25, 0.0)],
    ids=["with it", "within 3 s before", "3 s before", "after it"],
)
def test_the_silence_ends_with_or_shortly_before_the_counter(back_s, silent_s) -> None:
    """The counter comes at 62 s; two seconds of silence end when the unit is back."""
    given = news((0, back_s - 2.0, 0.0625), (back_s, 140, 0.0625))
    assert silence(given, 62.0, 3.0) == silent_s


@pytest.mark.parametrize(("usual", "silent_s"), [(20, 2.0), (19, None)])
def test_twenty_usual_steps_are_needed(usual: int, silent_s: float | None) -> None:
    """Up to 3 s before the counter; those within do not count."""
    at = 60.0
    given = news((at - 3.0 - 0.125 * usual, at - 2.0, 0.125), (at, at + 60, 0.125))
    assert silence(given, at, 3.0) == silent_s


def test_without_anything_after_it_the_log_may_have_ended() -> None:
    assert silence(news((0, 58, 0.25), (60, 60, 0.25)), 60.0, 3.0) is None
    assert silence(news((0, 58, 0.25), (60, 60.25, 0.25)), 60.0, 3.0) == 2.0


@pytest.mark.parametrize(
    ("before", "after", "silent_s"),
    [(1.0, 0.25, 2.0), (1.0625, 0.25, None), (0.25, 1.0, 2.0), (0.25, 1.0625, None)],
    ids=["twice the usual", "less", "twice the later one", "less"],
)
def test_a_silence_is_twice_the_usual_pause(before, after, silent_s) -> None:
    steps = before * np.arange(50)
    given = np.r_[steps - steps[-1] + 58.0, 60.0 + after * np.arange(50)]
    assert silence(given, 60.0, 3.0) == silent_s


@pytest.mark.parametrize("side", ["before", "after"])
@pytest.mark.parametrize(
    ("slow", "silent_s"), [(1, 2.0), (10, None)], ids=["1 % of the pauses", "a tenth of them"]
)
def test_the_usual_pause_is_that_of_98_percent(side: str, slow: int, silent_s) -> None:
    """Of a hundred steps of 0.25 s some last 1.5 s; thrice as long would be a silence of 3 s."""
    steps = np.full(100, 0.25)
    steps[40 : 40 + slow] = 1.5
    plain = np.full(100, 0.25)
    before, after = (steps, plain) if side == "before" else (plain, steps)
    given = np.cumsum(np.r_[0.0, before, np.full(12, 0.25), 2.0, after])
    at = given[len(before) + 12 + 1]
    assert silence(given, float(at), 3.0) == silent_s


@pytest.mark.parametrize("side", ["before", "after"])
@pytest.mark.parametrize(
    ("slow_until_s", "silent_s"),
    [(60.0, 2.0), (40.0, None)],
    ids=["over a minute off", "within it"],
)
def test_a_minute_on_both_sides_tells_what_is_usual(side: str, slow_until_s: float, silent_s):
    """A pace of 4 s, that far from the counter and further; a pace of 0.25 s near it."""
    near, far = news((0, slow_until_s, 0.25)), slow_until_s + 4.0 * np.arange(1, 30)
    later = np.r_[near, far] if side == "after" else news((0, 70, 0.25))
    earlier = np.r_[near, far] if side == "before" else news((0, 70, 0.25))
    given = np.r_[300.0 - earlier[earlier >= 2.0][::-1], 300.0 + later]
    assert silence(given, 300.0, 3.0) == silent_s


# --- what a place reported


@pytest.fixture
def logged(make_reading, make_readings):
    """A log of these columns, a row each half second, and its readings."""

    def make(columns, *, recordings=(), **more):
        rows = [make_reading(p, q, (), (), hold=h) for p, q, h in columns]
        channels = tuple(r.channel for r in rows)
        values = [np.asarray(v, dtype=float) for v in columns.values()]
        time_s = 0.5 * np.arange(values[0].size)
        log = Log(
            frame=pd.DataFrame(
                {c.key: v for c, v in zip(channels, values, strict=True)},
                index=pd.Index(time_s, name="time_s"),
            ),
            channels=channels,
            provenance=Provenance(
                file="made.csv", sha256="", size_bytes=0, rows=time_s.size, recordings=recordings
            ),
        )
        known = [
            make_reading(p, q, time_s[np.isfinite(v)], v[np.isfinite(v)], hold=h, resolution=1.0)
            for (p, q, h), v in zip(columns, values, strict=True)
        ]
        return log, make_readings(*known, end_s=float(time_s[-1]), **more)

    return make


def test_news_are_changes_or_what_stands_between_blanks(logged) -> None:
    log, readings = logged(
        {
            ("tail", USED, ""): [1, 1, 2, 2, 2, 2, 3, 3, 3, 3],
            ("tail", Quantity.CURRENT, ""): [NAN, NAN, NAN, 5, NAN, NAN, NAN, 5, NAN, 5],
            ("tail", Quantity.LINK, ""): np.arange(10),
            ("tail", Quantity.UNKNOWN, ""): np.arange(10),
            ("bus", USED, ""): np.arange(10),
        }
    )
    assert place_news(log, readings, "tail").tolist() == [0.0, 1.0, 1.5, 3.0, 3.5, 4.5]
    assert place_news(log, readings, "nose").tolist() == []


def test_restarts_of_a_log(logged) -> None:
    """Rows each half second: the counter of the tail begins again at 20 s, that of the bus ran on.

    The tail tells something each half second until 16 s and is silent for 4 s.
    """
    k = np.arange(120)
    used = np.where(k < 33, 100.0 + k, np.where(k < 40, 132.0, k - 40.0))
    log, readings = logged(
        {
            ("tail", USED, ""): used,
            ("tail", USED, "max"): used,
            ("bus", USED, ""): 10.0 + k,
            ("bus", Quantity.UPTIME, ""): np.where(k < 60, 5000.0 + k, k - 58.0),
            ("nose", Quantity.CURRENT, ""): used,
        },
        recordings=((0.0, 50.0), (55.0, 59.0)),
    )
    tail, bus, file = find_restarts(log, readings)
    assert (tail.time_s, tail.place, tail.before, tail.after) == (20.0, "tail", 132.0, 0.0)
    assert (tail.clock, tail.silent_s, tail.ran_on) == (False, 4.0, ("bus",))
    assert (bus.time_s, bus.place, bus.before, bus.after) == (30.0, "bus", 5059.0, 2.0)
    assert (bus.clock, bus.silent_s, bus.ran_on) == (True, None, ("tail", "bus"))
    assert (file.time_s, file.place, file.before, file.after) == (55.0, None, 55.0, 0)


def test_a_counter_of_two_readings_tells_nothing(logged) -> None:
    three, two = [100.0, 0.0, 1.0], [100.0, 0.0, NAN]
    log, readings = logged({("tail", USED, ""): three, ("bus", USED, ""): two})
    assert [r.place for r in find_restarts(log, readings)] == ["tail"]


@pytest.mark.parametrize(
    ("update_s", "silent_s"),
    [(0.5, None), (2.0, 4.0), (None, None)],
    ids=["3 s", "4 s", "3 s at least"],
)
def test_the_silence_may_have_ended_two_intervals_before(update_s, silent_s, logged, make_reading):
    """Silent from 16 to 20 s, then the current comes back, and the counter at 23.5 s."""
    k = np.arange(120)
    amps = np.where((k < 33) | (k >= 40), k % 7, 32 % 7).astype(float)
    amps[40:47] = 6.0
    used = np.where(k < 33, 100.0, np.where(k < 47, 100.0, 1.0))
    log, readings = logged({("tail", USED, ""): used, ("tail", Quantity.CURRENT, ""): amps})
    counter = make_reading("tail", USED, log.time_s, used, resolution=1.0, update_s=update_s)
    (found,) = find_restarts(log, replace(readings, channels=(counter, readings.channels[1])))
    assert found.time_s == 23.5
    assert found.silent_s == silent_s


# --- counters of one unit


def begun(place: str | None = "tail", time_s: float = 50.0, **more: object) -> Restart:
    usual: dict[str, object] = {"column": "used", "before": 700.0, "after": 0.0, "silent_s": 1.5}
    return Restart(place=place, time_s=time_s, **(usual | more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("counters", "units"),
    [
        ([begun(), begun(time_s=53.0)], 1),
        ([begun(), begun(time_s=53.1)], 2),
        ([begun(), begun(time_s=52.5), begun(time_s=55.0)], 2),
        ([begun(), begun("nose")], 2),
        ([begun("pack 1"), begun("bus")], 1),
        ([begun("regulator"), begun(None)], 1),
        ([begun("pack 1"), begun("tail")], 2),
        ([begun("tail"), begun("pack 1")], 2),
        ([begun(time_s=53.0), begun()], 1),
        ([begun("tail"), begun("nose"), begun("wing 1"), begun("tail")], 1 + 2),
        ([begun("tail"), begun("nose"), begun("wing 1"), begun("wing 2"), begun("tail")], 5),
        ([begun(column="the clock of the file")], 0),
    ],
)
def test_counters_of_one_unit_begin_again_within_3_s(counters: list[Restart], units: int) -> None:
    assert len(unit_restarts(counters, CRAFT)) == units


@pytest.mark.parametrize(
    ("place", "bus", "told"),
    [("pack 1", "bus", "bus"), ("pack 1", None, "pack 1"), (None, None, "bus"), (None, "x", "x"),
     ("tail", "bus", "tail"), ("", "bus", "")],
)  # fmt: skip
def test_the_place_of_a_unit(place, bus, told) -> None:
    assert unit_restarts([begun(place)], Aircraft(bus=bus))[0].place == told


@pytest.mark.parametrize(
    ("ran_on", "place", "excluded"),
    [(("pack 2",), "pack 1", False), (("tail",), "bus", False), (("pack 1",), "bus", True),
     (("pack 1", "bus"), "pack 1", True)],
)  # fmt: skip
def test_a_pack_beside_which_the_main_unit_ran_on_has_a_sensor_of_its_own(ran_on, place, excluded):
    (unit,) = unit_restarts([begun("pack 1", ran_on=ran_on)], CRAFT)
    assert (unit.place, unit.excluded) == (place, excluded)


def test_packs_that_began_again_together_are_no_sensor_of_their_own() -> None:
    both = [begun("pack 1", ran_on=("bus",)), begun("pack 2", ran_on=("bus",))]
    assert unit_restarts(both, CRAFT)[0].place == "bus"


@pytest.mark.parametrize(
    ("changes", "sure"),
    [
        ({"after": 35.0}, True),
        ({"after": 36.0}, False),
        ({"after": -35.0}, True),
        ({"after": -36.0}, False),
        ({"before": -700.0, "after": -35.0}, True),
        ({"clock": True, "after": 35.0}, True),
        ({"clock": True, "after": 36.0}, False),
        ({"clock": True, "before": 100.0, "after": 15.0}, True),
        ({"clock": True, "before": 100.0, "after": 15.1}, False),
        ({"before": 100.0, "after": 15.0}, False),
        ({"silent_s": None}, False),
        ({"silent_s": None, "clock": True}, True),
        ({"silent_s": 0.0}, False),
        ({"silent_s": 0.0, "clock": True}, False),
    ],
)
def test_what_makes_a_restart_sure(changes: dict[str, object], sure: bool) -> None:
    """Anew is a twentieth of 700: 35; of a clock what a boot takes, 15 s, where that is more."""
    (unit,) = unit_restarts([begun(**changes)], CRAFT)  # type: ignore[arg-type]
    assert unit.sure is sure


def test_one_counter_of_several_can_make_it_sure() -> None:
    (unit,) = unit_restarts([begun(silent_s=0.0), begun(time_s=51.0, silent_s=2.5)], CRAFT)
    assert (unit.sure, unit.excluded, unit.silent_s, unit.time_s) == (True, False, 2.5, 50.0)
    assert unit.first.time_s == 50.0
    (unit,) = unit_restarts([begun(silent_s=1.0), begun(time_s=51.0, after=300.0)], CRAFT)
    assert (unit.sure, unit.silent_s) == (True, 1.5)
    (unit,) = unit_restarts([begun(silent_s=None), begun(time_s=51.0, silent_s=0.0)], CRAFT)
    assert (unit.sure, unit.excluded, unit.silent_s) == (False, False, None)
    (unit,) = unit_restarts([begun(ran_on=("nose",)), begun(time_s=51.0, ran_on=("tail",))], CRAFT)
    assert unit.excluded


# --- counters that come to their end


@pytest.mark.parametrize(
    ("before", "after", "over"),
    [(65530, 0, True), (65534, 3, True), (65530, 6, True), (65530, 9, False), (65520, 0, False),
     (65537, 1, False), (65534, -1, False), (254, 2, True), (9998, 1, True), (32766, 2, True),
     (700, 0, False), (512, 0, False), (2**32 - 2, 2, True), (2**33 - 2, 2, False)],
)  # fmt: skip
def test_a_charge_that_comes_to_its_end_goes_on_from_zero(before, after, over, make_reading):
    """Five a reading: 1.5 readings and two steps of 0.5 either way, 8.5 of 65536.

    Registers of 8 to 32 bits and decimal displays end there (common practice, no source).
    """
    v = [before - 15, before - 10, before - 5, before, after]
    reading = make_reading("tail", USED, np.arange(5.0), v, resolution=0.5)
    assert counter_ran_over(reading, 4) is over


@pytest.mark.parametrize(
    ("end", "over"),
    [(65.536, True), (655.36, True), (6553.6, True), (65536, True), (60, True), (3600, True),
     (256, True), (100, False), (1024, False), (1000, False), (317, False)],
)  # fmt: skip
@pytest.mark.parametrize("pause_s", [0.5, 8.0])
def test_a_clock_that_comes_to_its_end_runs_through_a_pause(end, over, pause_s, make_reading):
    """One that began anew in the pause shows what its boot took, not where it would be."""
    t = np.r_[np.arange(20) * 0.5, 9.5 + pause_s]
    v = end - 0.25 + t - 9.5
    for after, told in ((pause_s - 0.25, over), (pause_s + 1.0, False)):
        reading = make_reading("bus", Quantity.UPTIME, t, np.r_[v[:20], after], resolution=0.1)
        assert counter_ran_over(reading, 20) is told


def test_without_a_pace_nothing_ran_over(make_reading) -> None:
    assert not counter_ran_over(make_reading("tail", USED, [0, 1], [65535, 0], resolution=1.0), 1)
    still = make_reading("tail", USED, [0, 1, 2], [65535, 65535, 0], resolution=1.0)
    assert not counter_ran_over(still, 2)


def test_counters_that_ran_over_make_no_restart() -> None:
    over = begun(silent_s=None, clock=True, ran_over=True)
    (unit,) = unit_restarts([over], CRAFT)
    assert (unit.ran_over, unit.sure) == (True, False)
    (unit,) = unit_restarts([over, begun(silent_s=None, clock=True)], CRAFT)
    assert (unit.ran_over, unit.sure) == (False, True), "the other one began anew"
    silent = [begun(clock=clock, ran_over=True) for clock in (True, False)]
    assert [unit_restarts([r], CRAFT)[0].ran_over for r in silent] == [True, False]
