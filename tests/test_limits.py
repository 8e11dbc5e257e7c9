"""Each default limit: its value as practice has it, and a finding just beyond it and none before.

The inputs are made by hand so that the expected side of each limit follows from the limit's own
words. Values marked "cp" are common practice, no source; those after a standard name it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import CELL_V, Aircraft, Limits
from telemetry.checks.in_flight import judge_log
from telemetry.detect.phases import find_parts
from telemetry.detect.sags import find_voltage_events
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.results import (
    EventKind,
    Finding,
    Flight,
    Level,
    Margin,
    Phase,
    PhaseKind,
    Quality,
    WorstCase,
)

RATE_HZ = 10.0


DEFAULTS = [
    ("restart_v", 3.5, "cp"),
    ("margin_watch_v", 1.0, "cp"),
    ("margin_ground_v", 0.5, "cp"),
    ("sag_pct", 5.0, "IEC 61000-4-30"),
    ("sag_v", 0.25, "cp"),
    ("sag_hysteresis_pct", 2.0, "IEC 61000-4-30"),  # EN 50160 practice: 2 % of nominal
    ("sag_open_s", 10.0, "ours"),
    ("reference_s", 60.0, "IEC 61000-4-30"),  # sliding reference: one minute
    ("spike_mads", 5.0, "ours"),
    ("spike_a", 1.0, "ours"),
    ("spike_window_s", 30.0, "ours"),
    ("burst_s", 2.0, "ours"),
    ("stir_s", 2.0, "ours"),
    ("stir_factor", 3.0, "ours"),
    ("stir_a", 0.5, "ours"),
    ("flight_s", 90.0, "ours"),
    ("flight_pause_s", 20.0, "ours"),
    ("gap_intervals", 3.0, "ours"),
    ("gap_s", 1.0, "ours"),
    ("reserve_pct", 30.0, "cp"),
    ("share_points", 15.0, "cp"),
    ("branch_watch_mohm", 8.0, "ours"),
    ("branch_watch_pct", 20.0, "ours"),
    ("branch_over_expected", 1.5, "ours"),
    ("branch_over_expected_mohm", 10.0, "ours"),
    ("branch_ground_mohm", 25.0, "ours"),
    ("branch_ground_pct", 75.0, "ours"),
    ("servo_watch_pct", 25.0, "ours"),
    ("servo_ground_pct", 60.0, "ours"),
    ("return_flights", 100.0, "ours"),
    ("pin_a", 3.0, "cp"),
    ("panel_pin_a", 5.0, "cp"),
]


@pytest.mark.parametrize(("name", "value", "origin"), DEFAULTS)
def test_a_default_has_its_value_and_says_where_it_is_from(
    name: str, value: float, origin: str
) -> None:
    field = Limits.model_fields[name]
    assert getattr(Limits(), name) == value
    assert field.description is not None
    assert f"({origin})" in field.description.replace("(after ", "(")


def test_every_default_is_checked_here_but_the_comfort_level() -> None:
    # The comfort level has no default of its own: it follows the system, 5.0 V or 6.0 V.
    assert {name for name, *_ in DEFAULTS} == set(Limits.model_fields) - {"comfort_v"}


def test_cell_voltages() -> None:
    # Full, nominal, floor under load, V a cell: makers' and sellers' tables of cells, no standard.
    assert CELL_V == {
        "lipo": (4.20, 3.70, 3.30),
        "liion": (4.20, 3.60, 3.00),
        "life": (3.65, 3.20, 2.80),
        "nimh": (1.40, 1.20, 1.00),
    }


def flight_with(*held: Margin) -> Flight:
    ground = Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=100.0)
    return Flight(kind="flight", start_s=0.0, end_s=100.0, phases=(ground,), margins=held)


def margin(lowest_v: float, *cases: WorstCase) -> Margin:
    return Margin(
        place="left wing", lowest_v=lowest_v, restart_v=3.5, observed_v=lowest_v - 3.5, cases=cases
    )


def margin_findings(of_place: Margin) -> list[Finding]:
    found = judge_log(
        aircraft=Aircraft(),
        columns=(),
        quality=Quality(row_s=0.1, shortest_sure_dip_s=0.1),
        flights=(flight_with(of_place),),
    ).findings
    return [f for f in found if f.code == "margin-low"]


@pytest.mark.parametrize(
    ("lowest_v", "level"),
    [(4.51, None), (4.49, Level.WATCH), (4.01, Level.WATCH), (3.99, Level.GROUND)],
)
def test_observed_margin_is_watched_under_1_v_and_grounds_under_half(
    lowest_v: float, level: Level | None
) -> None:
    found = margin_findings(margin(lowest_v))
    assert [f.level for f in found] == ([] if level is None else [level])


@pytest.mark.parametrize(
    ("voltage_v", "high_v", "level"),
    [
        (4.51, 4.8, None),
        (4.49, 4.8, None),  # below a volt, but not surely
        (4.3, 4.49, Level.WATCH),
        (3.90, 4.01, Level.WATCH),  # below half a volt, but not surely
        (3.80, 3.99, Level.GROUND),
    ],
)
def test_the_margin_with_one_pack_lost_grounds_only_where_it_is_sure(
    voltage_v: float, high_v: float, level: Level | None
) -> None:
    lost = WorstCase(
        case="pack-lost", current_a=20.0, voltage_v=voltage_v, low_v=voltage_v - 0.2, high_v=high_v
    )
    found = margin_findings(margin(6.0, lost))
    assert [f.level for f in found] == ([] if level is None else [level])


def log_of(**columns: np.ndarray) -> Log:
    """A log of hand-made readings, ten a second; a name is a quantity of the bus."""
    size = next(iter(columns.values())).size
    time_s = np.arange(size) / RATE_HZ
    unit = {"voltage": "V", "current": "A"}
    return Log(
        frame=pd.DataFrame(
            {f"bus/{q}": v for q, v in columns.items()}, index=pd.Index(time_s, name="time_s")
        ),
        channels=tuple(
            Channel(
                key=f"bus/{q}",
                column=q,
                quantity=Quantity(q),
                place="bus",
                label="bus",
                unit=unit[q],
            )
            for q in columns
        ),
        provenance=Provenance(
            file="made.csv",
            sha256="",
            size_bytes=0,
            rows=size,
            recordings=((0.0, float(time_s[-1])),),
        ),
    )


def steps(*stretches: tuple[float, float]) -> np.ndarray:
    """Seconds and level of each stretch; a last digit that moves, as a live sensor's does."""
    values = np.concatenate([np.full(round(s * RATE_HZ), level) for s, level in stretches])
    return values + np.where(np.arange(values.size) % 2, 0.005, -0.005)


def lively(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A current that never rests: between 1 and 5 A, another one every half second."""
    return np.repeat(rng.uniform(1.0, 5.0, round(2 * seconds)), round(RATE_HZ / 2))


def kinds(log: Log) -> list[tuple[PhaseKind, float]]:
    """Phases that are no rest on the ground, with their length."""
    craft = Aircraft(bus="bus")
    readings = take_readings(log, craft.limits)
    return [
        (p.kind, p.end_s - p.start_s)
        for part in find_parts(log, readings, craft, craft.limits)
        for p in part.phases
        if p.kind is not PhaseKind.GROUND
    ]


@pytest.mark.parametrize(
    ("rest_a", "level_a", "seconds", "stir"),
    [
        (0.5, 2.0, 10.0, True),
        (0.5, 2.0, 1.2, False),  # shorter than 2 s
        (0.5, 2.0, 3.0, True),
        (0.1, 0.5, 10.0, False),  # five times the rest, but only 0.4 A above it
        (0.1, 0.7, 10.0, True),
        (2.0, 3.6, 10.0, False),  # 1.6 A above the rest, but less than twice
        (2.0, 6.2, 10.0, True),
    ],
)
def test_a_stir_is_long_and_high_enough(
    rest_a: float, level_a: float, seconds: float, stir: bool
) -> None:
    found = kinds(log_of(current=steps((30, rest_a), (seconds, level_a), (30, rest_a))))
    assert [k for k, _ in found] == ([PhaseKind.STIR] if stir else [])
    if stir:
        assert found[0][1] == pytest.approx(seconds, abs=1.0)


@pytest.mark.parametrize(
    ("stretches", "flights"),
    [
        ((75.0,), 0),  # shorter than 90 s
        ((110.0,), 1),
        ((70.0, 10.0, 70.0), 1),  # a pause under 20 s parts nothing
        ((120.0, 75.0, 120.0), 2),
    ],
)
def test_a_flight_is_lively_for_90_s_with_pauses_under_20_s(
    stretches: tuple[float, ...], flights: int
) -> None:
    rng = np.random.default_rng(5)
    parts: list[np.ndarray] = [steps((40, 0.3))]
    for i, seconds in enumerate(stretches):
        parts.append(steps((seconds, 0.3)) if i % 2 else lively(seconds, rng))
    parts.append(steps((40, 0.3)))
    found = kinds(log_of(current=np.concatenate(parts)))
    assert [k for k, _ in found if k is PhaseKind.FLIGHT] == [PhaseKind.FLIGHT] * flights
    if flights == 1:
        assert found[0][1] == pytest.approx(sum(stretches), abs=4.0)


def sags_of(supply_v: float, low_v: float, then_v: float) -> list[tuple[float, float]]:
    """Starts and ends of the sags of a bus that falls for 2 s and comes back part of the way."""
    log = log_of(
        voltage=np.round(steps((40, supply_v), (2, low_v), (2, then_v), (40, supply_v)), 3)
    )
    craft = Aircraft(bus="bus", regulated_v=supply_v)
    readings = take_readings(log, craft.limits)
    flying = (Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=float(log.time_s[-1])),)
    events = find_voltage_events(readings, flying, craft, craft.limits)
    return [(e.start_s, e.end_s) for e in events if e.kind is EventKind.SAG]


@pytest.mark.parametrize(
    ("supply_v", "low_v", "sag"),
    [
        (8.0, 7.62, False),  # 5 % of 8.0 V: 7.60 V
        (8.0, 7.58, True),
        (4.0, 3.77, False),  # 5 % would be 0.20 V: at least 0.25 V
        (4.0, 3.73, True),
    ],
)
def test_a_sag_is_5_percent_and_a_quarter_volt_deep(
    supply_v: float, low_v: float, sag: bool
) -> None:
    assert bool(sags_of(supply_v, low_v, supply_v)) is sag


@pytest.mark.parametrize(("then_v", "end_s"), [(7.74, 44.0), (7.78, 42.0)])
def test_a_sag_ends_2_percent_above_its_threshold(then_v: float, end_s: float) -> None:
    # Threshold 7.60 V, hysteresis 2 % of 8.0 V: over at 7.76 V.
    ((start, end),) = sags_of(8.0, 7.4, then_v)
    assert (start, end) == (pytest.approx(40.0, abs=0.05), pytest.approx(end_s, abs=0.05))
