"""A fit without the falls of a bad contact: Ohm's law exactly, with openings put in by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from telemetry.numerics.resistance import fitting
from telemetry.numerics.resistance.fitting import Fit, covered, fit_without_strays
from telemetry.numerics.resistance.matching import Curve, Match
from telemetry.numerics.resistance.signals import ResponseSteps, Signals

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def of(
    t: FloatArray,
    y: FloatArray,
    i: FloatArray,
    *,
    t_i: FloatArray | None = None,
    step_v: float = 0.0,
    step_i: float = 0.0,
    lag_s: float = 0.0,
) -> Signals:
    rows = np.arange(t.size)
    return Signals(
        t=t,
        y=y,
        amps=Curve(t if t_i is None else t_i, i),
        match=Match(lag_s, 0.0),
        steps_v=(ResponseSteps(step=step_v, run=rows, swing=1e9),),
        steps_i=ResponseSteps(step=step_i, run=rows, swing=1e9),
    )


T = 0.2 * np.arange(1500.0)
AMPS = 4.0 + np.asarray(
    signal.lfilter([1.0], [1.0, -0.9], np.random.default_rng(5).standard_normal(T.size))
)


def fitted(
    y: FloatArray, *, rows: BoolArray | None = None, relaxes: bool = False, gain: float = 0.02
) -> Fit:
    """The fit to a voltage read with the current; a part of the rows where said."""
    keep = np.ones(T.size, dtype=bool) if rows is None else rows

    def matched(_: BoolArray) -> Signals:
        return replace(of(T, y, AMPS), usable=keep)

    return fit_without_strays(matched, T.size, 1.0, relaxes=relaxes, gain=gain)


# Gaps


@pytest.mark.parametrize(
    ("t", "at", "max_gap_s", "inside"),
    [
        ([0, 1, 2, 5, 6], [-1, 0.5, 2, 3, 5.5, 6, 6.5], 1.0, [0, 1, 1, 1, 1, 1, 0]),
        ([0, 1, 2, 5.001, 6], [1.5, 3, 5.5], 1.0, [1, 0, 1]),  # over three intervals
        ([0, 1, 2, 6, 7], [1.5, 3, 6.5], 4.0, [1, 1, 1]),
        ([0, 1, 2, 6, 7], [1.5, 3, 6.5], 3.999, [1, 0, 1]),  # over the longest
    ],
)
def test_between_two_readings_that_are_no_gap_apart(
    t: list[float], at: list[float], max_gap_s: float, inside: list[int]
) -> None:
    curve = Curve(np.array(t, dtype=float), np.zeros(len(t)))
    found = covered(curve, np.array(at, dtype=float), max_gap_s)
    assert found.astype(int).tolist() == inside


# One fit


def test_ohms_law_with_its_level() -> None:
    # 50 mOhm, gain 2 %: 49 to 51. At rest 8 V; the interval there is that of the slope times the
    # mean current.
    found = fitted(8.0 - 0.05 * AMPS)
    mean = float(AMPS[1:].mean())
    assert (found.ohm, found.low_ohm, found.high_ohm) == pytest.approx((0.05, 0.049, 0.051))
    assert found.level_v == pytest.approx(8.0)
    assert found.level_low_v == pytest.approx(8.0 - 0.001 * mean)
    assert found.level_high_v == pytest.approx(8.0 + 0.001 * mean)
    assert (found.updates, found.scale_s, found.lag_s) == (1499, None, 0.0)
    assert (found.refused, found.left_out) == ("", ())
    assert found.method != ""


@pytest.mark.parametrize(("gain", "low", "told"), [(1.199, 0.0, True), (1.201, None, False)])
def test_a_half_width_of_over_1_2_times_the_value_is_useless(
    gain: float, low: float | None, told: bool
) -> None:
    # Nothing but the gain is in the interval; the low end is cut at nothing.
    found = fitted(8.0 - 0.05 * AMPS, gain=gain)
    assert (found.ohm is not None) is told
    assert found.low_ohm == low
    if told:
        assert found.high_ohm == pytest.approx(0.05 * (1 + gain), rel=1e-4)
    else:
        assert "moves the voltage too little" in found.refused


@pytest.mark.parametrize(("count", "refused"), [(19, True), (20, False)])
def test_twenty_readings_together_are_the_least(count: int, refused: bool) -> None:
    rows = np.zeros(T.size, dtype=bool)
    rows[np.linspace(1, T.size - 1, count).astype(int)] = True
    found = fitted(8.0 - 0.05 * AMPS, rows=rows)
    assert found.updates == count
    assert ("too few readings" in found.refused) is refused


def test_updates_are_those_of_the_rarer_sensor() -> None:
    t_i = T[::3]
    s = of(T, 8.0 - 0.05 * AMPS, AMPS[::3], t_i=t_i)
    found = fitting.fit_rows(s, np.ones(T.size, dtype=bool), 1.0, relaxes=False, gain=0.02)
    assert found.updates == t_i.size


def test_rows_that_are_not_sound_or_fall_into_a_gap_are_left_out() -> None:
    here = (T < 100) | (T > 110)
    y = np.where(here, 8.0 - 0.05 * AMPS, 0.0)
    s = of(T, y, AMPS[here], t_i=T[here])
    found = fitting.fit_rows(s, np.ones(T.size, dtype=bool), 1.0, relaxes=False, gain=0.02)
    assert found.ohm == pytest.approx(0.05)
    whole = of(T, y, AMPS)
    assert fitting.fit_rows(whole, here, 1.0, relaxes=False, gain=0.02).ohm == pytest.approx(0.05)


def test_a_lag_between_the_sensors_is_taken_out() -> None:
    # The voltage shows a second later what the current did.
    late = of(T + 1.0, 8.0 - 0.05 * AMPS, AMPS, t_i=T, lag_s=1.0)
    found = fitting.fit_rows(late, np.ones(T.size, dtype=bool), 1.0, relaxes=False, gain=0.02)
    assert found.ohm == pytest.approx(0.05)
    assert found.level_v == pytest.approx(8.0)
    assert found.lag_s == 1.0
    assert found.updates == 1499  # all but the first lie between two readings of the current


def test_level_at_rest_by_hand() -> None:
    # Means 7.5 V and 4 A (a second before), 0.1 Ohm: 7.9 V; 0.02 * 4 below, 0.05 * 4 above, and
    # twice the steps of the two readings: 2 (0.3) / sqrt(12 * 2).
    s = of(np.array([1.0, 2.0]), np.array([7.4, 7.6]), np.array([3.0, 5.0]), step_v=0.3)
    s = replace(s, amps=Curve(np.array([0.0, 1.0]), s.amps.v), match=Match(1.0, 0.0))
    steps = 2 * 0.3 / 24**0.5
    level = fitting.voltage_at_rest(s, 0.1, 0.08, 0.15)
    assert level == pytest.approx((7.9, 7.9 - np.hypot(0.08, steps), 7.9 + np.hypot(0.2, steps)))


# Why there is none


def why(i: list[float], *, every_s: float = 1.0, step_i: float = 0.0) -> str:
    amps = np.array(i, dtype=float)
    return fitting.why_refused(of(every_s * np.arange(amps.size), amps, amps, step_i=step_i))


@pytest.mark.parametrize(
    ("i", "step_i", "still"),
    [
        ([0.0, 0.0999] * 5, 0.0, True),  # half of it is the spread
        ([0.0, 0.102] * 5, 0.0, False),
        ([0.0, 0.5] * 5, 0.25, True),
        ([0.0, 0.501] * 5, 0.25, False),
    ],
)
def test_a_spread_within_a_step_or_50_ma_is_no_movement(
    i: list[float], step_i: float, still: bool
) -> None:
    assert ("hardly moved" in why(i, step_i=step_i)) is still


@pytest.mark.parametrize(
    ("i", "words"),
    [
        ([0] * 5 + [4] * 5, "only once (by 4.0 A)"),
        ([0] * 5 + [4] * 5 + [0] * 5, "only 2 times (by 4.0 A)"),
        ([0] * 5 + [4, 4] + [0] * 5, "only once"),  # two seconds apart are one moment
        ([0] * 5 + [4, 4, 4] + [0] * 5, "only 2 times"),
        ([0] * 5 + [4] * 5 + [0] * 5 + [4] * 5, "swings too fast"),
        ([0, 1, 2, 3, 4] * 3, "only 2 times"),  # steps of a quarter of the range are none
        ([0, 1, 2, 3, 4] * 2, "only once"),
        ([0, 1.01, 2, 3, 4] * 2, "only 2 times"),  # at once, and with the fall after 4 s
        ([0, 1.01, 2, 3, 4] * 4, "swings too fast"),
        ([0, 1, 2, 3, 4, 3, 2, 1] * 3, "swings too fast"),  # nothing is a move
    ],
)
def test_moves_of_the_current_are_counted(i: list[float], words: str) -> None:
    assert words in why(i)


# Without the falls of a contact


def test_openings_are_left_out_and_named() -> None:
    # 1.5 V lost at three readings: these and the one on each side; each span to the next reading.
    y = 8.0 - 0.05 * AMPS
    y[[100, 101, 400]] -= 1.5
    found = fitted(y)
    assert (found.ohm, found.low_ohm, found.high_ohm) == pytest.approx((0.05, 0.049, 0.051))
    assert found.left_out == ((T[99], T[103]), (T[399], pytest.approx(T[402])))
    assert found.updates == 1499 - 7


def test_nothing_is_left_out_of_a_rise() -> None:
    y = 8.0 - 0.05 * AMPS
    y[[100, 101, 400]] += 1.5
    assert fitted(y).left_out == ()


def opening(share: float, ohm: float, seed: int = 1) -> FloatArray:
    """Ohm's law with a contact that adds so much at a share of the readings, only under load."""
    rng = np.random.default_rng(seed)
    opened = (rng.random(T.size) < share) & (AMPS > 4.0)
    return 8.0 - (0.05 + ohm * opened) * AMPS


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.5, 0.6])
@pytest.mark.parametrize("ohm", [0.3, 1.0])
def test_a_contact_that_opens_under_load_does_not_raise_the_resistance(
    share: float, ohm: float
) -> None:
    # Ohm's law is exact at all other readings. With three fifths open the fit of all readings lies
    # far off and hides the openings: then only the search from the commonest fall counts.
    found = fitted(opening(share, ohm))
    expected = (0.05, 0.049, 0.051)
    assert (found.ohm, found.low_ohm, found.high_ohm) == pytest.approx(expected, rel=1e-5)
    assert len(found.left_out) > 10


# Two answers


def attempt(fit: Fit, sound: list[int]) -> fitting.FitAttempt:
    n = len(sound)
    s = of(np.arange(float(n)), np.zeros(n), np.zeros(n))
    return fitting.FitAttempt(fit, s, np.array(sound, dtype=bool))


ALL, MOST, SOME = [1, 1, 1, 1, 1], [1, 1, 1, 1, 0], [1, 0, 1, 1, 0]


def told(ohm: float, low: float, high: float) -> Fit:
    return Fit(ohm=ohm, low_ohm=low, high_ohm=high, updates=50, method="by hand")


def test_what_was_left_out_is_named() -> None:
    assert fitting.with_left_out(attempt(told(2, 1, 3), ALL)).left_out == ()
    # Half-open spans; the last reading holds for two intervals.
    assert fitting.with_left_out(attempt(told(2, 1, 3), SOME)).left_out == ((1.0, 2.0), (4.0, 6.0))


@pytest.mark.parametrize(
    ("down", "up", "expected"),
    [
        ((told(3, 2.5, 3.5), MOST), (told(2, 1.5, 2.2), SOME), (2.5, 1.5, 3.5)),
        ((told(3, 1.5, 3.2), MOST), (told(2, 1.7, 3.5), SOME), (2.5, 1.5, 3.5)),
        ((told(3, 2.5, 3.5), MOST), (told(2, 1.5, 2.2), MOST), (3, 2.5, 3.5)),
        ((told(3, 2.5, 3.5), ALL), (told(2, 1.5, 2.2), SOME), (3, 1.5, 3.5)),
        ((told(3, 2.5, 3.5), MOST), (Fit(refused="no"), SOME), (3, 2.5, 3.5)),
        ((Fit(refused="no"), MOST), (told(2, 1.5, 2.2), SOME), (None, None, None)),
    ],
    ids=["between", "wider", "the same readings", "from all", "no second", "no first"],
)
def test_two_answers_make_one(
    down: tuple[Fit, list[int]],
    up: tuple[Fit, list[int]],
    expected: tuple[float | None, float | None, float | None],
) -> None:
    found = fitting.of_both(attempt(*down), attempt(*up))
    assert (found.ohm, found.low_ohm, found.high_ohm) == expected
    if found.ohm is not None:
        assert found.method == "by hand"


@pytest.mark.parametrize(("high", "refused"), [(6.0, False), (6.001, True)])
def test_two_answers_too_far_apart_are_none(high: float, refused: bool) -> None:
    # Between 3 and 2: 2.5; 0 to 6 is 1.2 times it to either side.
    found = fitting.of_both(attempt(told(3, 2.5, high), MOST), attempt(told(2, 0.0, 2.2), SOME))
    assert (found.ohm is None) is refused
    assert found.updates == 50
    assert bool(found.refused) is refused


# How far readings lie from a resistance

PULSES = np.where(np.arange(200) % 10 == 5, 1.0, 0.0)  # 1 A every tenth second


def test_the_coarsest_sensor_counts() -> None:
    s = of(np.arange(200.0), -0.05 * PULSES, PULSES, step_v=0.01)
    coarse = replace(
        s, steps_v=(*s.steps_v, ResponseSteps(step=0.04, run=np.arange(200), swing=1.0))
    )
    assert fitting.coarsest_step_v(coarse) == 0.04


@pytest.mark.parametrize(("ohm", "hides"), [(0.0549, False), (0.0551, True), (0.0449, True)])
def test_a_resistance_half_as_far_again_from_most_readings_hides_something(
    ohm: float, hides: bool
) -> None:
    # All readings show 50 mOhm: they lie half a step, 0.01 V, from it; from 55 mOhm at 1 A 0.015.
    s = of(np.arange(200.0), -0.05 * PULSES, PULSES, step_v=0.02)
    assert fitting.hides_usual(s, ohm, 0.05) is hides


def test_the_current_is_read_at_the_instant_it_belongs_to() -> None:
    s = of(np.arange(200.0), PULSES, PULSES, lag_s=3.0)
    at = s.current
    assert at[3:] == pytest.approx(np.roll(PULSES, 3)[3:])


def too_far(every_v: float, highest_near: float) -> BoolArray:
    """A fall of 1 V at a reading, and a peak of the current in the far end of the log."""
    t = every_v * np.arange(400.0)
    t_i = 1.0 * np.arange(0.0, t[-1] + 1)
    i = np.ones(t_i.size)
    i[-3] = highest_near
    y = np.full(t.size, 8.0)
    y[50] -= 1.0
    return fitting.fell_too_far_for(of(t, y, i, t_i=t_i), 0.05)


@pytest.mark.parametrize(
    ("every_v", "peak", "called"),
    [
        (1.0, 40.0, True),  # read as often: what flowed minutes later is no excuse
        (0.5, 40.0, False),  # read half as often: 1.2 times 40 A may have passed unseen, 2.35 V
        (0.5, 10.0, True),  # but of 12 A only 0.55 V
    ],
)
def test_a_peak_between_slow_readings_excuses_a_fall(
    every_v: float, peak: float, called: bool
) -> None:
    found = too_far(every_v, peak)
    assert bool(found[50]) is called


def test_rounds_end() -> None:
    """Every fit without some readings calls others: it ends, with one of the answers."""
    calls = 0

    def matched(sound: BoolArray) -> Signals:
        nonlocal calls
        calls += 1
        rng = np.random.default_rng(calls)
        y = 8.0 - 0.05 * AMPS
        y[rng.integers(0, T.size, 40)] -= 2.0
        return of(T, y, AMPS)

    found = fit_without_strays(matched, T.size, 1.0, relaxes=False, gain=0.02)
    assert (found.ohm is None) == bool(found.refused)
    # The first, that without the commonest fall's, and up to six rounds from each.
    assert calls <= 2 + 2 * 6


# Which of the two answers counts: the fits and what they call are told


class TellTale:
    """Fits by the readings they were made from; readings called, by the resistance."""

    def __init__(
        self, monkeypatch: pytest.MonkeyPatch, *, usual: float | None, hides: bool
    ) -> None:
        self.fits: dict[str, Fit] = {}
        self.made = 0
        self.called: dict[float, str] = {}
        monkeypatch.setattr(fitting, "usual_fall", lambda _: usual)
        monkeypatch.setattr(fitting, "hides_usual", lambda *_: hides)
        monkeypatch.setattr(fitting, "fell_too_far_for", lambda _, ohm: self.mask(self.called[ohm]))
        monkeypatch.setattr(fitting, "fit_rows", self.fit)

    def fit(self, _: Signals, sound: BoolArray, *__: object, **___: object) -> Fit:
        self.made += 1
        return self.fits["".join(str(int(x)) for x in sound)]

    @staticmethod
    def mask(marks: str) -> BoolArray:
        return np.array([m == "x" for m in marks])

    def result(self) -> Fit:
        s = of(np.arange(5.0), np.zeros(5), np.zeros(5))
        return fit_without_strays(lambda _: s, 5, 1.0, relaxes=True, gain=0.0)


@pytest.mark.parametrize(
    ("up_ohm", "hides", "ohm", "left_out"),
    [
        # Commonest fall 2 calls two readings; all readings give 6, which calls one, and without
        # that 4 calls the same: down. Without the two: up.
        (3.2, False, 3.6, ((4.0, 6.0),)),  # half-way between
        (3.2, True, 3.2, ((3.0, 6.0),)),  # up alone
        (3.22, True, None, ()),  # over 1.6 times the commonest fall: neither
        (3.22, False, 3.61, ((4.0, 6.0),)),
    ],
)
def test_down_and_up(
    monkeypatch: pytest.MonkeyPatch,
    up_ohm: float,
    hides: bool,
    ohm: float | None,
    left_out: tuple[tuple[float, float], ...],
) -> None:
    tale = TellTale(monkeypatch, usual=2.0, hides=hides)
    tale.fits = {
        "11111": told(6, 5.9, 6.1),
        "11110": told(4, 3.9, 4.1),
        "11100": told(up_ohm, 3.1, 3.3),
    }
    # Going up never calls by more than 1.6 times the commonest fall.
    tale.called = {2.0: "...xx", 6.0: "....x", 4.0: "....x", 3.2: "...xx"}
    found = tale.result()
    assert found.ohm == (None if ohm is None else pytest.approx(ohm))
    assert found.left_out == left_out
    assert bool(found.refused) is (ohm is None)
    assert tale.made == 3, "no fit is made twice"


@pytest.mark.parametrize("usual", [None, 1.0])
def test_where_nothing_is_called_the_fit_of_all_readings_counts(
    monkeypatch: pytest.MonkeyPatch, usual: float | None
) -> None:
    tale = TellTale(monkeypatch, usual=usual, hides=True)
    tale.fits = {"11111": told(3, 2.9, 3.1)}
    tale.called = {1.0: "....."}
    assert tale.result() == told(3, 2.9, 3.1)


def test_a_refusal_on_the_way_up_is_the_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    tale = TellTale(monkeypatch, usual=1.0, hides=True)
    refused = Fit(updates=3, refused="too few")
    tale.fits = {"11111": refused, "11100": refused}
    tale.called = {1.0: "...xx"}
    found = tale.result()
    assert (found.ohm, found.refused, found.updates) == (None, "too few", 3)


def test_answers_that_call_others_each_time_stop_after_six_rounds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Down: every fit calls another reading; from 10 on it is called by 11, 12 ... in turns.
    tale = TellTale(monkeypatch, usual=1.0, hides=False)
    tale.fits = {
        "11111": told(10, 9, 11),
        "11110": told(11, 10, 12),
        "11101": told(12, 11, 13),
        "11100": told(1, 0.9, 1.1),
    }
    tale.called = {1.0: "...xx", 10.0: "....x", 11.0: "...x.", 12.0: "....x"}
    # 10 -> 11 -> 12 -> 11 -> 12 -> 11 -> 12: the sixth; between it and 1.
    assert tale.result().ohm == pytest.approx(6.5)
