"""When a pack counts as out, by hand: each threshold from both sides."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.packs import (
    came_back,
    highest_known,
    joined_spans,
    kind_of_out,
    lowest_bus_v,
    median_v,
    pack_outs,
    shares_after,
    silent_stretches,
    usual_share,
)
from telemetry.model.channels import Quantity
from telemetry.readings import Readings
from telemetry.results import OutKind, OutSign, PackOut, Phase, PhaseKind

Make = Callable[..., Readings]
U, A = Quantity.VOLTAGE, Quantity.CURRENT
PAIR = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
STANDBY = Aircraft.model_validate(
    {"bus": "bus", "packs": [{"name": "pack 1", "role": "standby"}, {"name": "pack 2"}]}
)
GRID = np.arange(0.0, 200.0, 0.25)


def _phase(kind: PhaseKind, start_s: float, end_s: float) -> Phase:
    return Phase(kind=kind, start_s=start_s, end_s=end_s)


FLIGHT = (_phase(PhaseKind.FLIGHT, 60.0, 160.0),)
TWICE = (*FLIGHT, _phase(PhaseKind.FLIGHT, 220.0, 300.0))
CHECK = (_phase(PhaseKind.REDUNDANCY_CHECK, 60.0, 160.0),)


# What makes up the judgement


def test_highest_known_current() -> None:
    assert highest_known(np.array([1.0, np.nan, 3.0, 2.0])) == 3.0
    assert highest_known(np.array([np.nan, np.nan])) is None


@pytest.mark.parametrize(
    ("phases", "start", "end", "back", "kind"),
    [
        (FLIGHT, 70, 80, True, OutKind.LOST),
        (FLIGHT, 159, 200, False, OutKind.LOST),
        (FLIGHT, 160, 200, False, OutKind.SWITCHED_OFF),
        (FLIGHT, 160, 200, True, OutKind.LOST),
        (FLIGHT, 0, 61, True, OutKind.LOST),
        (FLIGHT, 0, 60, True, OutKind.CHECK),
        (FLIGHT, 0, 60.25, True, OutKind.LOST),
        (FLIGHT, 50, 60, True, OutKind.CHECK),
        (FLIGHT, 50, 60, False, OutKind.LOST),
        ((), 100, 160, True, OutKind.CHECK),
        ((), 100, 160.25, True, OutKind.LOST),
        ((), 100, 110, False, OutKind.LOST),
        (CHECK, 0, 61, False, OutKind.CHECK),
        (CHECK, 159, 300, False, OutKind.CHECK),
        (CHECK, 160, 300, False, OutKind.LOST),
        (CHECK, 0, 60, False, OutKind.LOST),
        ((*CHECK, _phase(PhaseKind.FLIGHT, 150, 170)), 150, 160, True, OutKind.LOST),
        ((*CHECK, _phase(PhaseKind.GROUND, 160, 200)), 70, 150, False, OutKind.CHECK),
        (TWICE, 70, 80, True, OutKind.LOST),
        (TWICE, 170, 210, False, OutKind.SWITCHED_OFF),
        (TWICE, 170, 210, True, OutKind.LOST),
    ],
)
def test_why_a_pack_may_have_given_nothing(
    phases: tuple[Phase, ...], start: float, end: float, back: bool, kind: OutKind
) -> None:
    assert kind_of_out(phases, start, end, back) is kind


def _shares(**at: float) -> np.ndarray:
    """Half of the load, but for stretches named ``a_b`` in s."""
    share = np.full(GRID.size, 0.5)
    for span, value in at.items():
        a, b = span.removeprefix("s").split("_")
        share[(float(a) <= GRID) & (float(b) > GRID)] = value
    return share


def test_stretches_with_next_to_nothing_between_them_are_one() -> None:
    for between, spans in (
        (0.199, [(10.0, 40.0)]),
        (0.2, [(10.0, 20.0), (30.0, 40.0)]),
        (0.201, [(10.0, 20.0), (30.0, 40.0)]),
        (np.nan, [(10.0, 40.0)]),
    ):
        share = _shares(s10_20=0.0, s20_30=between, s30_40=0.0)
        with np.errstate(invalid="ignore"):
            assert joined_spans(GRID, share, share < 0.05, 1.0) == spans


def test_the_median_between_two_stretches_decides() -> None:
    share = _shares(s10_20=0.0, s20_24=0.9, s24_30=0.1, s30_40=0.0)
    assert joined_spans(GRID, share, share < 0.05, 1.0) == [(10.0, 40.0)]
    share = _shares(s10_20=0.0, s20_26=0.9, s26_30=0.1, s30_40=0.0)
    assert joined_spans(GRID, share, share < 0.05, 1.0) == [(10.0, 20.0), (30.0, 40.0)]


@pytest.mark.parametrize(
    ("between", "joined"), [((0.1, 0.1, 0.1, 0.5, 0.5), True), ((0.1, 0.1, 0.5, 0.5), False)]
)
def test_only_what_lies_between_counts(between: tuple[float, ...], joined: bool) -> None:
    # Without the first of the five their median were 0.3; with a zero beside the four it were 0.1.
    share = _shares(s10_30=0.0)
    share[80 : 80 + len(between)] = between  # from 20 s on
    assert len(joined_spans(GRID, share, share < 0.05, 1.0)) == (1 if joined else 2)


def test_only_neighbours_are_joined() -> None:
    # The second lies apart from both: half of the load before and after it.
    share = _shares(s10_20=0.0, s30_60=0.0, s70_80=0.0)
    apart = [(10.0, 20.0), (30.0, 60.0), (70.0, 80.0)]
    assert joined_spans(GRID, share, share < 0.05, 1.0) == apart
    share = _shares(s10_20=0.0, s30_40=0.0, s40_50=0.1, s50_60=0.0)
    assert joined_spans(GRID, share, share < 0.05, 1.0) == [(10.0, 20.0), (30.0, 60.0)]


def test_a_short_pause_joins_whatever_is_in_it() -> None:
    share = _shares(s10_20=0.0, s22_30=0.0)
    assert joined_spans(GRID, share, share < 0.05, 2.25) == [(10.0, 30.0)]
    assert joined_spans(GRID, share, share < 0.05, 2.0) == [(10.0, 20.0), (22.0, 30.0)]


def test_the_last_instant_counts_for_two_more() -> None:
    share = _shares(s190_200=0.0)
    assert joined_spans(GRID, share, share < 0.05, 1.0) == [(190.0, 200.25)]


def _usual(share: np.ndarray, total: np.ndarray, span: tuple[float, float], step: float = 0.0):
    return usual_share(GRID, share, total, span, step)


def test_no_usual_share_without_a_load_in_the_span() -> None:
    total = np.where((GRID >= 100.0) & (GRID < 110.0), np.nan, 2.0)
    assert _usual(GRID / 100, total, (100.0, 110.0)) is None


def test_the_usual_share_is_that_of_the_last_ten_seconds() -> None:
    # The share is the time over 100; from 90 to 98.75 s, as the last second does not count.
    found = _usual(GRID / 100, np.full(GRID.size, 2.0), (100.0, 110.0))
    assert found == pytest.approx((0.89 + 0.9875) / 2, abs=1e-9)


def test_ten_seconds_within_a_minute_and_two_at_the_least() -> None:
    total = np.full(GRID.size, 2.0)
    share = np.where((GRID >= 30) & (GRID < 42), 0.3, np.nan)
    # From 40 s on: eight readings of a quarter of a second; a quarter later: seven.
    assert _usual(share, total, (100.0, 110.0)) == pytest.approx(0.3)
    assert _usual(share, total, (100.25, 110.0)) is None


@pytest.mark.parametrize(
    ("inside", "before", "step", "known"),
    [
        ((2, 2, 2, 2), 2.0, 0.0, True),
        ((2, 2, 2, 2), 2.01, 0.0, False),
        ((2, 2, 2, 2), 2.2, 0.1, True),
        ((2, 2, 2, 2), 2.21, 0.1, False),
        ((1, 2, 3, 5), 3.5, 0.0, True),  # three quarters of them lie below 3.5
        ((1, 2, 3, 5), 3.51, 0.0, False),
    ],
)
def test_only_loads_that_were_no_higher_are_compared(
    inside: tuple[float, ...], before: float, step: float, known: bool
) -> None:
    total = np.full(GRID.size, before)
    total[400:404] = inside  # 100 to 101 s
    found = _usual(np.full(GRID.size, 0.5), total, (100.0, 101.0), step)
    assert (found is not None) is known


def test_what_a_pack_gives_after_a_stretch() -> None:
    share = _shares(s100_105=0.3, s105_130=0.9)
    assert shares_after(GRID, share, 100.0, 1.0).tolist() == [0.3] * 20
    assert shares_after(GRID, share, 100.0, 2.0).tolist() == [0.3] * 20 + [0.9] * 4
    assert shares_after(GRID, np.full(GRID.size, np.nan), 100.0, 1.0).tolist() == [0.0]


@pytest.mark.parametrize(
    ("share", "end_s", "back"),
    [(0.201, 100.0, True), (0.2, 100.0, False), (0.5, 199.25, True), (0.5, 199.5, False)],
)
def test_a_pack_is_back_where_it_gives_again(
    make_readings: Make, share: float, end_s: float, back: bool
) -> None:
    readings = make_readings({}, end_s=200.0)
    shares = {"pack 1": np.full(GRID.size, share)}
    assert came_back(readings, "pack 1", shares, GRID, end_s, {"pack 1": 0.5}) is back


@pytest.mark.parametrize(
    ("volts", "at_s", "back"), [(1.51, 104.9, True), (1.5, 104.9, False), (8.0, 105.1, False)]
)
def test_a_pack_without_a_current_is_back_with_its_voltage(
    make_readings: Make, volts: float, at_s: float, back: bool
) -> None:
    readings = make_readings({("pack 1", U): ([at_s], [volts])}, end_s=200.0)
    assert came_back(readings, "pack 1", {}, GRID, 100.0, {}) is back
    assert came_back(make_readings({}, end_s=200.0), "pack 1", {}, GRID, 100.0, {}) is False


def test_lowest_voltage_of_the_bus_or_of_what_it_feeds(make_readings: Make) -> None:
    def lowest(*places: str, craft: Aircraft = PAIR) -> float | None:
        volts = {"tail": (7.0, 6.0, 5.0, 4.0), "bus": (7.1, 6.1, 5.1, 4.1), "pack 1": (1, 1, 1, 1)}
        readings = make_readings({(p, U): ([0, 10, 20, 30], volts[p]) for p in places})
        return lowest_bus_v(readings, craft, 10.0, 30.0)

    assert lowest("pack 1", "tail", "bus") == 5.1
    assert lowest("pack 1", "tail") == 5.0
    assert lowest("tail", "bus", craft=PAIR.model_copy(update={"bus": None})) == 5.0
    assert lowest("pack 1") is None
    assert lowest_bus_v(make_readings({("bus", U): ([0.0], [7.0])}), PAIR, 10.0, 30.0) is None


def test_median_of_the_packs_own_voltage(make_readings: Make) -> None:
    readings = make_readings({("pack 1", U): ([0, 10, 20, 30, 40], [9.0, 8.0, 6.0, 7.0, 1.0])})
    assert median_v(readings, "pack 1", 10.0, 40.0) == 7.0
    assert median_v(readings, "pack 1", 11.0, 12.0) is None
    assert median_v(readings, "pack 2", 0.0, 40.0) is None


# Silent stretches


def _quiet(
    make: Make, share: np.ndarray | None, *, craft: Aircraft = PAIR, update_s: float = 0.25,
    **volts: Any,
) -> list[tuple[float, float, str]]:  # fmt: skip
    series = {(p.replace("_", " "), U): (GRID, np.zeros(GRID.size) + v) for p, v in volts.items()}
    shares = {} if share is None else {"pack 1": share, "pack 2": 1 - share}
    update = dict.fromkeys(shares, update_s)
    return silent_stretches(make(series), craft, GRID, shares, update)


@pytest.mark.parametrize(
    ("update_s", "end_s", "found"),
    [(0.25, 101.0, True), (0.25, 100.75, False), (2.0, 104.0, True), (2.0, 103.75, False)],
)
def test_how_long_a_pack_has_to_be_silent(
    make_readings: Make, update_s: float, end_s: float, found: bool
) -> None:
    # A second, and two updates.
    share = np.where((GRID >= 100) & (end_s > GRID), 0.0, 0.5)
    expected = [(100.0, end_s, "pack 1")] if found else []
    assert _quiet(make_readings, share, update_s=update_s) == expected


@pytest.mark.parametrize(("share", "found"), [(0.049, True), (0.05, False)])
def test_below_a_twentieth_a_pack_gives_nothing(
    make_readings: Make, share: float, found: bool
) -> None:
    assert bool(_quiet(make_readings, _shares(s100_120=share))) is found


def test_pauses_of_a_second_or_of_two_updates_are_none(make_readings: Make) -> None:
    share = _shares(s100_110=0.0, s110_111=0.5, s111_120=0.0)
    apart = [(100.0, 110.0, "pack 1"), (111.0, 120.0, "pack 1")]
    assert _quiet(make_readings, share, update_s=0.5) == apart
    assert _quiet(make_readings, share, update_s=0.75) == [(100.0, 120.0, "pack 1")]
    near = share.copy()
    near[(GRID >= 110.75) & (GRID < 111)] = 0.0
    assert _quiet(make_readings, near, update_s=0.1) == [(100.0, 120.0, "pack 1")]


def test_a_standby_pack_is_silent_only_by_its_voltage(make_readings: Make) -> None:
    share = _shares(s100_120=0.0)
    assert _quiet(make_readings, share, craft=STANDBY) == []
    gone = np.where((GRID >= 100) & (GRID < 120), 0.0, 8.0)
    found = _quiet(make_readings, share, craft=STANDBY, pack_1=gone, pack_2=8.0)
    assert found == [(100.0, 120.0, "pack 1")]


@pytest.mark.parametrize(("end_s", "found"), [(101.0, True), (100.75, False)])
def test_how_long_a_voltage_has_to_be_gone(make_readings: Make, end_s: float, found: bool) -> None:
    gone = np.where((GRID >= 100) & (end_s > GRID), 0.0, 8.0)
    expected = [(100.0, end_s, "pack 1")] if found else []
    assert _quiet(make_readings, None, pack_1=gone, pack_2=8.0) == expected


def test_a_voltage_that_is_gone_beside_a_current_is_a_failed_sensor(make_readings: Make) -> None:
    gone = np.where((GRID >= 100) & (GRID < 120), 0.0, 8.0)
    volts = {"pack_1": gone, "pack_2": 8.0}
    assert _quiet(make_readings, _shares(s100_120=0.051), **volts) == []
    assert _quiet(make_readings, None, **volts) == [(100.0, 120.0, "pack 1")]
    unknown = _quiet(make_readings, _shares(s100_120=np.nan), **volts)
    assert unknown == [(100.0, 120.0, "pack 1")]


@pytest.mark.parametrize(
    ("gave", "failed"),
    [
        ((0.2, 0.2, 0.0, 0.0), True),  # 0.1 of the load; without the first none
        ((0.0, 0.0, 0.06, 0.5), False),  # 0.03; with the half that comes next 0.06
        ((0.06, np.nan, np.nan, np.nan), True),
        ((0.05, 0.05, 0.05, 0.05), False),
    ],
)
def test_the_median_beside_a_voltage_that_is_gone(
    make_readings: Make, gave: tuple[float, ...], failed: bool
) -> None:
    gone = np.where((GRID >= 100) & (GRID < 101), 0.0, 8.0)
    share = _shares()
    share[400:404] = gave
    found = _quiet(make_readings, share, craft=STANDBY, pack_1=gone, pack_2=8.0)
    assert found == ([] if failed else [(100.0, 101.0, "pack 1")])


def test_a_voltage_gone_where_the_share_is_unknown_stands_by_itself(make_readings: Make) -> None:
    gone = np.where((GRID >= 100) & (GRID < 120), 0.0, 8.0)
    volts = {"pack_1": gone, "pack_2": 8.0}

    def spans(**silent: float) -> list[tuple[float, float]]:
        share = _shares(s100_120=np.nan, **silent)
        return [s[:2] for s in _quiet(make_readings, share, **volts)]

    assert spans(s120_130=0.0) == [(100.0, 120.0), (120.0, 130.0)]
    assert spans(s90_100=0.0) == [(90.0, 100.0), (100.0, 120.0)]
    assert spans(s20_30=0.0) == [(20.0, 30.0), (100.0, 120.0)]
    # One that overlaps it takes it in, whatever else there is.
    assert spans(s20_30=0.0, s110_125=0.0) == [(20.0, 30.0), (110.0, 125.0)]
    assert spans(s110_125=0.0, s150_160=0.0) == [(110.0, 125.0), (150.0, 160.0)]


def test_current_and_voltage_gone_together_are_one_stretch(make_readings: Make) -> None:
    gone = np.where((GRID >= 100) & (GRID < 120), 0.0, 8.0)
    for silent, found in (
        ({"s105_125": 0.0}, [(105.0, 125.0, "pack 1")]),
        ({"s90_101": 0.0}, [(90.0, 101.0, "pack 1")]),
        ({"s120_130": 0.0}, [(120.0, 130.0, "pack 1")]),
        ({"s80_100": 0.0}, [(80.0, 100.0, "pack 1")]),
    ):
        share = _shares(**silent)
        share[(GRID >= 100) & (GRID < 120)] = 0.0
        apart = _quiet(make_readings, share, pack_1=gone, pack_2=8.0)
        assert len(apart) == 1, found


# The whole


def _outs(
    make: Make,
    spans: dict[str, tuple[float, float]],
    phases: tuple[Phase, ...] = FLIGHT,
    *,
    craft: Aircraft = PAIR,
    total: Any = 4.0,
    share: float = 0.5,
    resolution: Any = None,
    **volts: Any,
) -> tuple[PackOut, ...]:
    """Each pack gives nothing in its span, the other all; its share else."""
    flows = {"pack 1": np.full(GRID.size, share), "pack 2": np.full(GRID.size, 1.0 - share)}
    for place, (a, b) in spans.items():
        other = "pack 2" if place == "pack 1" else "pack 1"
        inside = (a <= GRID) & (b > GRID)
        flows[place][inside], flows[other][inside] = 0.0, 1.0
    series: dict[tuple[str, Quantity], Any] = {(p, A): (GRID, total * x) for p, x in flows.items()}
    series |= {(p.replace("_", " "), U): (GRID, np.zeros(GRID.size) + v) for p, v in volts.items()}
    readings = make(series, update_s=0.25, end_s=200.0, resolution=resolution)
    return pack_outs(readings, craft, phases)


def test_a_pack_lost_in_flight(make_readings: Make) -> None:
    bus = np.where(GRID == 110.0, 7.0, 7.5)
    (found,) = _outs(make_readings, {"pack 1": (100.0, 120.0)}, bus=bus, pack_2=8.0)
    assert found == PackOut(
        place="pack 1", kind=OutKind.LOST, start_s=100.0, end_s=120.0, back=True,
        share_before=0.5, carried_a=4.0, bus_v=7.0, own_v=None, sign=OutSign.UNKNOWN,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("update_s", "row_s", "count"),
    [(0.25, 2.0, 1), (None, 0.25, 1), (None, 2.0, 0), (2.0, 0.25, 0)],
)
def test_a_second_is_enough_where_updates_come_often(
    make_readings: Make, update_s: float | None, row_s: float, count: int
) -> None:
    one = np.where((GRID >= 100) & (GRID < 101), 0.0, 2.0)
    readings = make_readings(
        {("pack 1", A): (GRID, one), ("pack 2", A): (GRID, 4.0 - one)},
        update_s=update_s, row_s=row_s, end_s=200.0,
    )  # fmt: skip
    assert len(pack_outs(readings, PAIR, FLIGHT)) == count


@pytest.mark.parametrize(("share", "count"), [(0.2, 0), (0.21, 1)])
def test_a_pack_that_gave_little_before_is_not_out(
    make_readings: Make, share: float, count: int
) -> None:
    assert len(_outs(make_readings, {"pack 1": (100.0, 120.0)}, share=share)) == count


@pytest.mark.parametrize(
    ("total", "resolution", "count"),
    [(0.4, 0.1, 0), (0.41, 0.1, 1), (0.04, None, 0), (0.041, None, 1),
     (0.41, {"pack 1": 0.1, "pack 2": 0.2}, 0)],
)  # fmt: skip
def test_a_load_of_four_steps_of_the_coarser_sensor_tells_no_share(
    make_readings: Make, total: float, resolution: Any, count: int
) -> None:
    found = _outs(make_readings, {"pack 1": (100.0, 120.0)}, total=total, resolution=resolution)
    assert len(found) == count


def test_the_highest_current_of_the_stretch_is_carried(make_readings: Make) -> None:
    total = np.full(GRID.size, 4.0)
    total[[396, 400, 440, 479, 480]] = [9.0, 6.0, 5.0, 5.0, 9.0]  # 99, 100, 110, 119.75, 120 s
    (found,) = _outs(make_readings, {"pack 1": (100.0, 120.0)}, total=total)
    assert found.carried_a == 6.0


def test_one_pack_alone_is_never_out(make_readings: Make) -> None:
    alone = PAIR.model_copy(update={"packs": PAIR.packs[:1]})
    gone = np.where((GRID >= 100) & (GRID < 120), 0.0, 8.0)
    assert _outs(make_readings, {"pack 1": (100.0, 120.0)}, craft=alone, pack_1=gone, bus=8.0) == ()


@pytest.mark.parametrize("cause", ["pack 2 is out", "check"])
@pytest.mark.parametrize(
    ("start_s", "end_s", "like", "known"),
    [
        (90.0, 99.0, (87.0, 90.5), True),  # two seconds are left before 89 s,
        (90.0, 99.0, (87.5, 90.5), False),  # one and a half
        (85.0, 96.0, (95.5, 99.0), True),  # two between 97 s and the last second
        (85.0, 96.5, (96.0, 99.0), False),
    ],
)
def test_what_a_pack_gives_in_a_check_or_while_another_is_out_is_not_its_usual(
    make_readings: Make,
    cause: str,
    start_s: float,
    end_s: float,
    like: tuple[float, float],
    known: bool,
) -> None:
    """The check, or the other's outage, and a second on either side; the load is alike only in
    ``like`` and while pack 1 is out.
    """
    inside = (start_s <= GRID) & (end_s > GRID)
    one = np.where((GRID >= 100) & (GRID < 120), 0.0, 0.5)
    if cause != "check":
        one[inside] = 1.0
    total = np.full(GRID.size, 10.0)
    total[(like[0] <= GRID) & (like[1] > GRID) | (GRID >= 100) & (GRID < 120)] = 4.0
    total[inside] = 10.0 if cause != "check" else total[inside]
    readings = make_readings(
        {("pack 1", A): (GRID, total * one), ("pack 2", A): (GRID, total * (1 - one))},
        update_s=0.25, end_s=200.0,
    )  # fmt: skip
    check = _phase(PhaseKind.REDUNDANCY_CHECK, start_s, end_s)
    phases = (check, *FLIGHT) if cause == "check" else FLIGHT
    found = [o for o in pack_outs(readings, PAIR, phases) if o.place == "pack 1"]
    assert [o.share_before for o in found] == [0.5] * known


def test_a_pack_that_another_holds_off_is_out_only_in_a_check(make_readings: Make) -> None:
    # Giving, it lies 0.1 V above the bus; silent, at the bus: another one's voltage is higher.
    held = np.where((GRID >= 30) & (GRID < 40), 7.5, 7.6)
    before = _outs(make_readings, {"pack 1": (30.0, 40.0)}, pack_1=held, bus=7.5)
    assert [(o.kind, o.sign) for o in before] == [(OutKind.CHECK, OutSign.HELD_OFF)]
    held = np.where((GRID >= 100) & (GRID < 120), 7.5, 7.6)
    assert _outs(make_readings, {"pack 1": (100.0, 120.0)}, pack_1=held, bus=7.5) == ()
    above = np.where((GRID >= 100) & (GRID < 120), 7.9, 7.6)
    (found,) = _outs(make_readings, {"pack 1": (100.0, 120.0)}, pack_1=above, bus=7.5)
    assert (found.kind, found.sign, found.own_v) == (OutKind.LOST, OutSign.OPEN, 7.9)


def test_without_a_current_a_pack_is_out_where_its_voltage_is_gone(make_readings: Make) -> None:
    gone = np.where((GRID >= 100) & (GRID < 120), 0.0, 8.0)
    readings = make_readings(
        {("pack 1", U): (GRID, gone), ("pack 2", U): (GRID, np.full(GRID.size, 8.0))},
        update_s=0.25, end_s=200.0,
    )  # fmt: skip
    (found,) = pack_outs(readings, PAIR, FLIGHT)
    assert found == PackOut(
        place="pack 1", kind=OutKind.LOST, start_s=100.0, end_s=120.0, back=True,
        share_before=None, carried_a=None, bus_v=None, own_v=0.0, sign=OutSign.DEAD,
    )  # fmt: skip


def test_a_current_is_held_for_five_seconds(make_readings: Make) -> None:
    # The last reading of pack 1 is 0 A at 100 s: silent to 105 s, then unknown.
    here = GRID <= 100.0
    one = np.where(GRID < 100.0, 2.0, 0.0)
    readings = make_readings(
        {("pack 1", A): (GRID[here], one[here]), ("pack 2", A): (GRID, 4.0 - one)},
        update_s=0.25, end_s=200.0,
    )  # fmt: skip
    (found,) = pack_outs(readings, PAIR, FLIGHT)
    assert (found.start_s, found.end_s, found.back) == (100.0, 105.25, False)
