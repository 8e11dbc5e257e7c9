"""Counters that begin again: reset by hand, run over, or with their unit; by hand-made changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.app.pipeline import review
from telemetry.detect.restarts import silence, unit_restarts
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log
from telemetry.report.document import FirstPage
from telemetry.report.parts.first_page import first_page
from telemetry.results import Level, PhaseKind, Restart, Review

FLIGHT = "rest 20, stir 15, rest 15, flight 200, rest 20"
IN_STIR, IN_FLIGHT = 28.0, 120.0
COUNTERS = ("pack 1/consumed", "pack 2/consumed")


def reset(log: Log, at_s: float, *keys: str) -> Log:
    """The same log with counters that begin again at an instant."""
    frame = log.frame.copy()
    later = log.time_s >= at_s
    for key in keys:
        held = log.values(key)
        frame[key] = np.where(later, held - held[later][0], held + 40.0)
    return replace(log, frame=frame)


def silent(log: Log, start_s: float, end_s: float) -> Log:
    """The same log with the main unit's columns frozen for a while."""
    frame = log.frame.copy()
    inside = (log.time_s >= start_s) & (log.time_s < end_s)
    for key in frame.columns:
        if key.startswith(("pack", "bus")):
            values = log.values(key).copy()
            values[inside] = values[inside][0]
            frame[key] = values
    return replace(log, frame=frame)


def told(seen: Review) -> list[tuple[str, Level]]:
    return [(f.code, f.level) for f in seen.findings if f.code in ("brownout", "restart")]


def with_uptime(log: Log, uptime_s: np.ndarray) -> Log:
    """The same log with the uptime of the main unit instead of its counters."""
    frame = log.frame.drop(columns=list(COUNTERS)).assign(uptime=uptime_s)
    kept = [c for c in log.channels if c.key not in COUNTERS]
    clock = Channel(
        key="uptime", column="uptime", quantity=Quantity.UPTIME, place="bus", label="", unit="s"
    )
    return replace(log, frame=frame, channels=(*kept, clock))


def first_page_of(seen: Review) -> FirstPage:
    return first_page(seen)


@pytest.mark.parametrize(
    ("at_s", "level"),
    [(IN_STIR, Level.CLEAR), (IN_FLIGHT, Level.WATCH)],
    ids=["stir", "flight"],
)
def test_a_counter_reset_while_its_unit_reports_is_no_brownout(at_s, level, make_case) -> None:
    """On the ground a hand may set it back; in the air it is at least to be watched."""
    log = reset(make_case(FLIGHT, interval_s=0.2).log, at_s, *COUNTERS)
    seen = review(log)
    assert told(seen) == [("restart", level)]
    (found,) = [f for f in seen.findings if f.code == "restart"]
    assert "reported on" in found.title
    likeliest, *_, last = found.explanations
    assert "reset by hand" in (likeliest if level is Level.CLEAR else last)
    assert "uptime" in found.confirm
    assert seen.verdict is level


@pytest.mark.parametrize("at_s", [IN_STIR, IN_FLIGHT], ids=["stir", "flight"])
def test_an_uptime_that_begins_again_under_load_is_never_nothing(at_s: float, make_case) -> None:
    """The unit reports five times a second all along; no hand sets an uptime back."""
    log = make_case(FLIGHT, interval_s=0.2).log
    t = log.time_s
    seen = review(with_uptime(log, np.where(t < at_s, 310.0 + t, t - at_s)))
    assert told(seen) == [("restart", Level.WATCH)]
    (found,) = [f for f in seen.findings if f.code == "restart"]
    assert "supply was lost" in found.explanations[0]
    assert "pilot" in found.explanations[-1]
    assert not any("pilot" in x for x in found.explanations[:-1])
    page = first_page_of(seen)
    assert page.level is Level.WATCH
    assert page.reason == f"{found.title[0].upper()}{found.title[1:]}."
    assert any("treat it as a brownout" in check for check in page.checks)


@pytest.mark.parametrize("interval_s", [0.2, 1.0])
@pytest.mark.parametrize("end_s", [65.536, 256.0, 60.0])
def test_an_uptime_that_runs_over_in_the_air_accuses_nobody(end_s, interval_s, make_case) -> None:
    """16 bits of milliseconds, 8 of seconds, and the seconds of a clock."""
    log = make_case(FLIGHT, interval_s=interval_s).log
    at_s = np.arange(log.time_s.size) * float(np.median(np.diff(log.time_s)))
    seen = review(with_uptime(log, np.round((end_s - IN_FLIGHT + at_s) % end_s, 3)))
    assert seen.quality.restarts
    assert all(r.ran_over for r in seen.quality.restarts)
    assert {level for _, level in told(seen)} <= {Level.CLEAR}
    (found,) = [f for f in seen.findings if "in flight" in f.title]
    assert "ran over" in found.explanations[0]


def test_a_power_cycle_on_the_ground_asks_for_nothing(make_case) -> None:
    """Between stir and take-off the pilot switches off and on."""
    log = make_case(FLIGHT, interval_s=0.2).log
    t = log.time_s
    seen = review(with_uptime(log, np.where(t < 42.0, 310.0 + t, t - 42.0)))
    assert told(seen) == [("restart", Level.CLEAR)]
    (found,) = [f for f in seen.findings if f.code == "restart"]
    assert "on the ground" in found.title
    assert found.explanations[0] == "the pilot switched the system off and on"
    assert seen.verdict is Level.CLEAR
    assert first_page_of(seen).reason.startswith("Nothing in this log asks for action")


@pytest.mark.parametrize("at_s", [IN_STIR, IN_FLIGHT], ids=["stir", "flight"])
def test_one_counter_in_a_slow_log_may_be_either(at_s: float, make_case) -> None:
    """With a reading a second a boot passes unseen: no brownout by itself, and not nothing."""
    case = make_case(FLIGHT, interval_s=1.0, row_s=0.5)
    seen = review(reset(case.log, at_s, COUNTERS[0]))
    assert told(seen) == [("restart", Level.WATCH)]
    (found,) = [f for f in seen.findings if f.code == "restart"]
    assert any("too shortly" in x for x in found.explanations)
    assert "treat it as a brownout" in found.advice


def test_a_silence_of_a_boot_and_counters_begun_anew_in_the_air_ground(make_case) -> None:
    """The dip itself fell between two readings: no reading is low."""
    log = silent(make_case(FLIGHT, interval_s=0.2).log, IN_FLIGHT, IN_FLIGHT + 1.6)
    seen = review(reset(log, IN_FLIGHT + 1.6, *COUNTERS))
    assert told(seen) == [("brownout", Level.GROUND)]
    (event,) = [e for f in seen.flights for e in f.events if e.kind == "brownout"]
    assert (event.place, event.phase) == ("bus", PhaseKind.FLIGHT)
    assert event.end_s - event.start_s == pytest.approx(1.6, abs=0.5)


def test_a_silence_alone_restarts_nothing(make_case) -> None:
    log = silent(make_case(FLIGHT, interval_s=0.2).log, IN_FLIGHT, IN_FLIGHT + 1.6)
    assert told(review(log)) == []


def begun(place: str, **more: object) -> Restart:
    usual = {"time_s": 50.0, "column": "used", "before": 700.0, "after": 0.0, "silent_s": 1.5}
    return Restart(place=place, **(usual | more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("counters", "place", "sure", "excluded"),
    [
        ([begun("pack 1"), begun("pack 2", time_s=50.4)], "bus", True, False),
        ([begun("pack 1", ran_on=("pack 2",))], "pack 1", True, False),
        ([begun("pack 1", ran_on=("pack 1",))], "bus", False, True),
        ([begun("tail", silent_s=0.0)], "tail", False, True),
        ([begun("tail", silent_s=None)], "tail", False, False),
        ([begun("bus", silent_s=None, clock=True, after=3.0)], "bus", True, False),
        ([begun("tail", after=300.0)], "tail", False, False),
    ],
    ids=["both of the main unit", "one pack with a sensor of its own", "its clock ran on",
         "it reported all the time", "the log is too slow", "a clock", "no new beginning"],
)  # fmt: skip
def test_what_counters_say_of_their_unit(
    counters: list[Restart], place: str, sure: bool, excluded: bool
) -> None:
    (unit,) = unit_restarts(counters, Aircraft(bus="bus"))
    assert (unit.place, unit.sure, unit.excluded) == (place, sure, excluded)


def test_a_logger_that_slows_down_at_a_reset_is_no_silent_unit() -> None:
    """A test bench counts each step anew and writes ten times slower in the next one."""
    news = np.r_[np.arange(0, 60, 0.1), np.arange(61, 120, 1.0)]
    assert silence(news, 61.0, 3.0) is None
    back = np.r_[np.arange(0, 60, 0.1), np.arange(61, 120, 0.1)]
    assert silence(back, 61.0, 3.0) == pytest.approx(1.1)
