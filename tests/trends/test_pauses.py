"""Silences of one unit while the others go on: counted by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.model.channels import Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import Readings
from telemetry.trends.features.pauses import (
    chance_of_pause,
    heard_through,
    longest_pause,
    place_updates,
    silences,
    updates_between,
    went_off,
)
from tests.trends.conftest import readings_of

Make = Callable[..., Any]
#: Usual steps that make a gap of all.
GAP = 3.0


def every(start: float, end: float, step: float = 1.0, *, but: Sequence[float] = ()) -> np.ndarray:
    """Instants from start to end, without those strictly between the two of ``but``."""
    t = np.round(np.arange(round((end - start) / step) + 1) * step + start, 6)
    return t[~((t > but[0]) & (t < but[1]))] if but else t


def test_between_leaves_both_ends_out() -> None:
    t = np.array([1.0, 2.0, 3.0, 4.0])
    assert updates_between(t, 1.0, 4.0) == 2
    assert updates_between(t, 0.9, 4.1) == 4
    assert updates_between(t, 2.1, 2.9) == 0


class TestChance:
    def test_by_what_is_missing_in_the_whole_flight(self) -> None:
        # News every second from 0 to 100 s but for 41 to 45 s: 96 in 101 s. About the silence 39
        # of 40 are there. So 5 of 101 bring none; 5 in a row went missing, anywhere in 101.
        t = every(0, 100, but=(40, 46))
        p = chance_of_pause(t, 40.0, 46.0, 1.0, (0.0, 101.0))
        assert p == pytest.approx((5 / 101) ** 5 * 101, rel=1e-9)
        # Twice as many updates: 48 of 101 s brought news, and 11 in a row none, anywhere in 202.
        p = chance_of_pause(t, 40.0, 46.0, 0.5, (0.0, 101.0))
        assert p == pytest.approx((53 / 101) ** 11 * 202, rel=1e-9)

    def test_an_update_that_was_late_is_not_counted_as_missed(self) -> None:
        # 6.5 s: no more than five are sure to be missing.
        t = np.sort(np.r_[every(0, 100, but=(40, 47)), 46.5])
        p = chance_of_pause(t, 40.0, 46.5, 1.0, (0.0, 101.0))
        assert p == pytest.approx((5 / 101) ** 5 * 101, rel=1e-9)

    def test_by_what_is_missing_about_it(self) -> None:
        # From 20 to 90 s only every other second brings news. Within 20 s of 48 and 64 s those of
        # 30, 32 ... 48 and 64 ... 82: 20, less the one that ends it: 19 of 40 seconds.
        t = np.r_[every(0, 20), every(22, 90, 2.0, but=(48, 64)), every(91, 200)]
        p = chance_of_pause(t, 48.0, 64.0, 1.0, (0.0, 201.0))
        assert p == pytest.approx((21 / 40) ** 15 * 201, rel=1e-9)
        # Twice as many updates: 9.5 of the 40 s are accounted for, and 31 in a row were missed.
        p = chance_of_pause(t, 48.0, 64.0, 0.5, (0.0, 201.0))
        assert p == pytest.approx((30.5 / 40) ** 31 * 402, rel=1e-9)

    def test_one_in_a_hundred_is_lost_anyway(self) -> None:
        # Eight updates a second, and nothing else is missing: 3 in a row of 1000.
        t = every(0, 124.875, 0.125, but=(50, 50.5))
        p = chance_of_pause(t, 50.0, 50.5, 0.125, (0.0, 125.0))
        assert p == pytest.approx(0.01**3 * 1000)

    def test_the_flight_ends_near_it(self) -> None:
        # Silent from 5 to 9 s of a flight of 12 s: 7 news, 6 of 8 s about it.
        t = np.array([1.0, 2.0, 3.0, 5.0, 9.0, 10.0, 11.0])
        p = chance_of_pause(t, 5.0, 9.0, 1.0, (0.5, 12.5))
        assert p == pytest.approx((5 / 12) ** 3 * 12)

    def test_never_over_one(self) -> None:
        # A step shorter than an update: none missed, five updates in the flight.
        t = every(0, 4, but=(1, 2))
        assert chance_of_pause(t, 1.0, 1.5, 1.0, (0.0, 5.0)) == 1.0
        # Nothing but the two of the silence: nothing tells how many bring news.
        assert chance_of_pause(np.array([0.0, 5.0]), 0.0, 5.0, 1.0, (0.0, 5.0)) == 1.0


class TestLongest:
    WINDOW = (0.0, 61.0)

    def test_longest_step_while_most_others_went_on(self) -> None:
        own = every(0, 60, but=(20, 26))
        others = [every(0, 60), every(0, 60), every(0, 60, but=(20, 26))]
        step_s, p, *between = longest_pause(own, 1.0, others, self.WINDOW, GAP)
        assert between == [20.0, 26.0]
        assert step_s == 6.0
        assert p == chance_of_pause(own, 20.0, 26.0, 1.0, self.WINDOW)

    def test_half_of_the_others_are_not_most(self) -> None:
        own = every(0, 60, but=(20, 26))
        own = own[~((own > 40) & (own < 43))]
        others = [every(0, 60), every(0, 60, but=(20, 26))]
        # The step of 6 s is shared by one of two; that of 3 s by none.
        assert longest_pause(own, 1.0, others, self.WINDOW, GAP)[0] == 3.0

    @pytest.mark.parametrize(("news", "step_s"), [([22.0], 1.5), ([22.0, 24.0], 6.0)])
    def test_two_news_of_another_show_that_it_went_on(
        self, news: list[float], step_s: float
    ) -> None:
        own = every(0, 60, but=(20, 26))
        other = np.sort(np.r_[every(0, 60, but=(20, 26)), news])
        assert longest_pause(own, 1.0, [other], self.WINDOW, GAP)[0] == step_s

    @pytest.mark.parametrize(("end", "found"), [(21.5, (1.5, 1.0)), (21.6, (1.6, None))])
    def test_one_and_a_half_of_the_usual_step_says_nothing(
        self, end: float, found: tuple[float, float | None]
    ) -> None:
        own = np.r_[every(0, 20), every(end, end + 20)]
        step_s, p, *_ = longest_pause(own, 1.0, [every(0, 60, 0.2)], self.WINDOW, GAP)
        assert step_s == pytest.approx(found[0])
        if found[1] is not None:
            assert p == found[1]

    def test_the_first_of_equal_steps_and_the_window_half_open(self) -> None:
        own = every(0, 60, but=(20, 26))
        own = own[~((own > 30) & (own < 36))]
        other = [every(0, 60)]
        # About the first, 20 s either way hold 34 news; about the second as many or fewer.
        assert longest_pause(own, 1.0, other, self.WINDOW, GAP)[1] == chance_of_pause(
            own, 20.0, 26.0, 1.0, self.WINDOW
        )
        # 26 s is not in a window that ends there, and 20 s is in one that begins there.
        assert longest_pause(own, 1.0, other, (0.0, 26.0), GAP)[0] == 1.5
        assert longest_pause(own, 1.0, other, (0.0, 26.1), GAP)[0] == 6.0
        assert longest_pause(own, 1.0, other, (20.0, 29.0), GAP)[0] == 6.0
        assert longest_pause(own, 1.0, other, (20.1, 29.0), GAP)[0] == 1.5

    @pytest.mark.parametrize("own", [[], [3.0]], ids=["none", "one"])
    def test_without_two_news_there_is_no_step(self, own: list[float]) -> None:
        assert longest_pause(np.array(own), 1.0, [every(0, 60)], self.WINDOW, GAP)[:2] == (0.0, 1.0)

    def test_two_news_make_a_step(self) -> None:
        # Its usual step is itself: half as much again says nothing.
        found = longest_pause(np.array([3.0, 9.0]), 1.0, [every(0, 60)], self.WINDOW, GAP)
        assert found[:2] == (9.0, 1.0)


def log_of(columns: dict[str, Sequence[float]]) -> Log:
    rows = max((len(v) for v in columns.values()), default=0)
    frame = pd.DataFrame(columns, index=pd.Index(np.arange(rows) * 1.0, name="time_s"))
    return Log(
        frame=frame,
        channels=(),
        provenance=Provenance(file="made.csv", sha256="", size_bytes=0, rows=rows),
    )


class TestGapsOfAll:
    def test_a_gap_of_the_link_is_no_silence_of_one_unit(self) -> None:
        # Nothing comes from 30.2 to 35.2 s. The last of the own readings lay 0.4 s before the gap,
        # those of others 0.2 s.
        own = np.r_[every(0, 29.8, 0.4), every(35.2, 60, 0.4)]
        others = [np.r_[every(0, 30.0, 0.2), every(35.2, 60, 0.2)] for _ in range(3)]
        others[0] = np.sort(np.r_[others[0], 35.1])
        step_s, *_ = longest_pause(own, 0.4, others, (0.0, 60.0), GAP)
        assert step_s <= 0.6 + 1e-9

    def test_steps_that_the_others_went_on_through(self) -> None:
        heard = np.array([1.0, 2.0, 3.0, 8.0, 9.0])
        assert heard_through(heard, 0.5, 9.5, 3.0) == pytest.approx(4.0)
        assert heard_through(heard, 0.5, 9.5, 5.0) == pytest.approx(9.0)
        assert heard_through(np.empty(0), 0.5, 9.5, 3.0) == 0.0


class TestWentOff:
    CRAFT = Aircraft(bus="bus", nodes=(Node(name="left wing"), Node(name="tail", fed_from="bus")))
    SILENT = (60.0, 64.0)

    def logged(
        self, make_reading: Make, *, low_v: float = 0.0, lacks_a: float = 0.0,
        until_s: float = 64.0, later_a: float = 1.0,
    ) -> Readings:  # fmt: skip
        """A tail of 1 A that is silent for 4 s; its last voltage, and the whole, lower by these."""
        t, own = every(0, 120, 0.2), every(0, 120, 0.2, but=self.SILENT)
        wave = 0.3 * np.sin(0.7 * t)
        volts = np.full(own.size, 5.9)
        volts[np.searchsorted(own, 60.0)] -= low_v
        whole = 3.0 + 2 * wave
        whole[(t > 60.0) & (t < until_s)] -= lacks_a
        of = {"quantity": Quantity.CURRENT, "update_s": 0.2}
        return readings_of(
            make_reading("bus", t, np.full(t.size, 6.0), update_s=0.2),
            make_reading("tail", own, volts, update_s=0.2),
            make_reading("bus", t, whole, **of),
            make_reading("left wing", t, 2.0 + wave, **of),
            make_reading(
                "tail", own, np.where(own < 62, 1.0, later_a) + 0.3 * np.sin(0.7 * own), **of
            ),
        )

    @pytest.mark.parametrize(("low_v", "told"), [(0.0, False), (0.25, False), (0.4, True)])
    def test_by_a_low_voltage_beside_the_silence(
        self, make_reading: Make, low_v: float, told: bool
    ) -> None:
        readings = self.logged(make_reading, low_v=low_v)
        assert went_off(readings, self.CRAFT, "tail", *self.SILENT) is told

    @pytest.mark.parametrize(("lacks_a", "told"), [(0.0, False), (0.4, False), (1.0, True)])
    def test_by_what_the_whole_lacks(self, make_reading: Make, lacks_a: float, told: bool) -> None:
        readings = self.logged(make_reading, lacks_a=lacks_a)
        assert went_off(readings, self.CRAFT, "tail", *self.SILENT) is told

    @pytest.mark.parametrize(("end_s", "told"), [(60.5, False), (60.7, True)])
    def test_three_readings_of_the_whole_tell_what_it_lacks(
        self, make_reading: Make, end_s: float, told: bool
    ) -> None:
        readings = self.logged(make_reading, lacks_a=1.0, until_s=end_s)
        assert went_off(readings, self.CRAFT, "tail", 60.0, end_s) is told

    @pytest.mark.parametrize(("later_a", "told"), [(1.0, True), (3.0, False)])
    def test_half_of_what_it_drew_before_and_after_has_to_be_lacking(
        self, make_reading: Make, later_a: float, told: bool
    ) -> None:
        readings = self.logged(make_reading, lacks_a=0.8, later_a=later_a)
        assert went_off(readings, self.CRAFT, "tail", *self.SILENT) is told

    def test_falls_that_come_at_other_times_too_are_the_load(self, make_reading: Make) -> None:
        t, own = every(0, 120, 0.2), every(0, 120, 0.2, but=self.SILENT)
        volts = np.full(own.size, 5.9)
        volts[::20] -= 0.5
        volts[np.searchsorted(own, 60.0)] = 5.4
        readings = readings_of(
            make_reading("bus", t, np.full(t.size, 6.0), update_s=0.2),
            make_reading("tail", own, volts, update_s=0.2),
        )
        assert not went_off(readings, self.CRAFT, "tail", *self.SILENT)


class TestNews:
    def test_rows_that_repeat_bring_news_by_new_values_alone(self, make_reading: Make) -> None:
        values = [7.0, 7.0, 7.1, 7.1, 7.0]
        volts = make_reading("tail", range(5), values, update_s=0.5)
        amps = make_reading("tail", [2.0, 3.5], [1.0, 2.0], quantity=Quantity.CURRENT, update_s=0.2)
        log = log_of({volts.channel.key: values, amps.channel.key: [1.0, 1.0, 1.0, 1.0, 2.0]})
        t, update_s = place_updates(log, readings_of(volts, amps), "tail")
        assert (t.tolist(), update_s) == ([2.0, 3.5, 4.0], 0.2)

    def test_where_blanks_stand_between_every_reading_is_news(self, make_reading: Make) -> None:
        r = make_reading("tail", [0.0, 2.0, 4.0], [7.0, 7.0, 7.0])
        nan = float("nan")
        log = log_of({r.channel.key: [7.0, nan, 7.0, nan, 7.0, nan]})
        t, update_s = place_updates(log, readings_of(r), "tail")
        assert (t.tolist(), update_s) == ([0.0, 2.0, 4.0], 0.0)

    def test_only_lively_readings_of_that_place_count(self, make_reading: Make) -> None:
        others = (
            make_reading("bus", [0, 1], [7, 8], update_s=0.1),
            make_reading("tail", [0, 1], [7, 8], update_s=0.1, quantity=Quantity.TEMPERATURE),
            make_reading("tail", [0, 1], [7, 8], update_s=0.1, hold="min"),
            make_reading("tail", [0], [7], update_s=0.1),
        )
        log = log_of({r.channel.key: [7.0, 8.0] for r in others})
        t, update_s = place_updates(log, readings_of(*others), "tail")
        assert (t.tolist(), update_s) == ([], 0.0)
        pair = make_reading("tail", [0, 1], [7, 8], update_s=0.3)
        assert place_updates(log, readings_of(*others[:3], pair), "tail")[0].tolist() == [1.0]


class TestSilences:
    CRAFT = Aircraft(bus="bus", nodes=(Node(name="left wing"), Node(name="tail")))
    AIR = ((0.0, 120.0),)

    def found(
        self,
        make_reading: Make,
        times: dict[str, np.ndarray],
        *,
        air: Sequence[tuple[float, float]] = AIR,
        update_s: float | None = 1.0,
    ) -> dict[tuple[str, str], float | None]:
        made = [
            make_reading(place, t, np.arange(t.size) % 2, update_s=update_s)
            for place, t in times.items()
        ]
        log = log_of({r.channel.key: [0.0, 1.0, 0.0] for r in made})
        out = silences(log, readings_of(*made), self.CRAFT, air)
        return {(m.place, m.feature): m.value for m in out}

    def test_longest_silence_of_each_node_and_its_chance(self, make_reading: Make) -> None:
        whole, tail = every(0, 119), every(0, 119, but=(60, 65))
        found = self.found(make_reading, {"bus": whole, "left wing": whole, "tail": tail})
        own = tail[1:]  # the first value is none that is new
        assert found == {
            ("left wing", "silence_s"): 1.5,
            ("left wing", "silence_p"): 1.0,
            ("left wing", "silence_off"): 0.0,
            ("tail", "silence_s"): 5.0,
            ("tail", "silence_p"): chance_of_pause(own, 60.0, 65.0, 1.0, self.AIR[0]),
            ("tail", "silence_off"): 0.0,
        }

    def test_of_several_flights_the_longest(self, make_reading: Make) -> None:
        whole, tail = every(0, 119), every(0, 119, but=(60, 65))
        air = ((0.0, 40.0), (50.0, 80.0), (119.5, 120.0))
        found = self.found(make_reading, {"bus": whole, "tail": tail}, air=air)
        assert found["tail", "silence_s"] == 5.0
        assert self.found(make_reading, {"bus": whole, "tail": tail}, air=air[2:]) == {}
        assert self.found(make_reading, {"bus": whole, "tail": tail}, air=()) == {}

    @pytest.mark.parametrize(("last", "told"), [(99, False), (100, True)])
    def test_a_hundred_news_at_the_least(self, make_reading: Make, last: int, told: bool) -> None:
        # The first reading is no news: 100 readings are 99 of them.
        few, whole = every(0, last), every(0, 119)
        found = self.found(make_reading, {"bus": whole, "tail": few})
        assert (("tail", "silence_s") in found) is told
        # And another that brings fewer is none to compare with.
        found = self.found(make_reading, {"bus": few, "tail": whole})
        assert (("tail", "silence_s") in found) is told

    def test_none_without_an_interval_or_another_place(self, make_reading: Make) -> None:
        whole = every(0, 119)
        assert self.found(make_reading, {"bus": whole, "tail": whole}, update_s=None) == {}
        assert self.found(make_reading, {"tail": whole}) == {}
        assert self.found(make_reading, {"bus": whole, "receiver": whole}) == {}
