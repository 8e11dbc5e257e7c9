"""Fixtures shared by all parts of the tests."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import settings

from telemetry.aircraft import Aircraft, Limits, Node, Pack
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.results import (
    Cause,
    Change,
    Charge,
    CheckOutcome,
    ColumnUse,
    Dropout,
    Event,
    EventKind,
    Evidence,
    Feature,
    Finding,
    Flight,
    History,
    HistoryFlight,
    Level,
    Margin,
    NoteMark,
    NotJudged,
    Origin,
    OutcomeKind,
    OutKind,
    PackOut,
    PackState,
    Phase,
    PhaseKind,
    PlaceLoad,
    Quality,
    Resistance,
    Restart,
    Review,
    ServoShare,
    Span,
    Spurious,
    Stir,
    StirPlace,
    Trend,
    WorstCase,
)

# A busy machine makes single examples slow; speed belongs into tests/bench.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

Make = Callable[..., Review]


def _channel(column: str, place: str | None, quantity: Quantity, unit: str, **more: Any) -> Channel:
    name = "file" if place is None else place
    return Channel(
        key=f"{name}/{quantity}",
        column=column,
        quantity=quantity,
        place=place,
        label=place or "",
        unit=unit,
        source_unit=unit,
        reason=f"'{column}' names {quantity} at {name}",
        **more,
    )


def _made_log(seconds: float, rate_hz: float, file: str) -> Log:
    """A flight of an invented aircraft: four stirs of the current, one dip at 8:42."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    rng = np.random.default_rng(20260514)
    flying = (t > 120) & (t < 0.93 * seconds)
    stirring = (t > 60) & (t < 75)
    busy = np.where(flying, 1.0, np.where(stirring, 1.3, 0.12))
    places = {"left wing": 2.6, "right wing": 2.4, "tail": 1.4}
    current = {
        p: np.round(busy * a * rng.gamma(4.0, 0.25, t.size), 2) + 0.0 for p, a in places.items()
    }
    total = sum(current.values()) + 0.35
    used = np.cumsum(total) / rate_hz / 3.6
    packs = {"pack 1": 0.54, "pack 2": 0.46}
    frame: dict[str, np.ndarray] = {}
    channels = [
        Channel(key="time", column="Time [s]", quantity=Quantity.TIME, place=None, unit="s")
    ]

    def add(
        column: str, place: str | None, quantity: Quantity, unit: str, values: np.ndarray
    ) -> None:
        channel = _channel(column, place, quantity, unit)
        channels.append(channel)
        frame[channel.key] = values

    for pack, share in packs.items():
        volts = 8.2 - used * share / 4000 - 0.028 * total * share
        title = pack.title()
        add(f"{title} U [V]", pack, Quantity.VOLTAGE, "V", np.round(volts, 2))
        add(f"{title} I [A]", pack, Quantity.CURRENT, "A", np.round(total * share, 1))
        add(f"{title} used [mAh]", pack, Quantity.CONSUMED, "mAh", np.floor(used * share))
    bus = 6.0 - 0.01 * total
    add("Bus U [V]", "bus", Quantity.VOLTAGE, "V", np.round(bus, 2))
    add("Bus I [A]", "bus", Quantity.CURRENT, "A", np.round(total, 1))
    add("Bus used [mAh]", "bus", Quantity.CONSUMED, "mAh", np.floor(used))
    add("Reg T [degC]", "regulator", Quantity.TEMPERATURE, "degC", np.round(25 + used / 60))
    mohm = {"left wing": 46, "right wing": 21, "tail": 25}
    for place in places:
        volts = bus - mohm[place] / 1000 * current[place]
        if place == "left wing":
            volts = np.where((t >= 522.0) & (t < 522.6), 4.6 + 0.2 * (t - 522.0), volts)
        title = place.title()
        add(f"{title} U [V]", place, Quantity.VOLTAGE, "V", np.round(volts, 2))
        add(f"{title} I [A]", place, Quantity.CURRENT, "A", current[place])
        add(f"{title} T [degC]", place, Quantity.TEMPERATURE, "degC", np.round(22 + used / 90))
    add("Link [%]", None, Quantity.LINK, "%", np.round(100 - rng.exponential(2, t.size)))
    add("Alt [m]", None, Quantity.ALTITUDE, "m", np.where(flying, 80.0, 0.0))
    for surface in ("aileron", "elevator"):
        swing = 100 * np.sin(2 * np.pi * 0.5 * t) * stirring + 30 * rng.standard_normal(t.size)
        add(surface.title(), surface, Quantity.CONTROL, "%", np.round(swing * (flying | stirring)))
    unknown = Channel(
        key="file/unknown",
        column="X17 <b>&amp;",
        quantity=Quantity.UNKNOWN,
        place=None,
        reason="no word of the vocabulary fits",
    )
    channels.append(unknown)
    frame[unknown.key] = np.zeros(t.size)
    if t.size > 2000:
        frame["bus/voltage"][1000] = 0.0  # the spurious reading that the quality record lists
        for name in frame:
            frame[name][3000:3040] = np.nan  # a gap of 4 s at 05:00
    return Log(
        frame=pd.DataFrame(frame, index=pd.Index(t, name="time_s")),
        channels=tuple(channels),
        provenance=Provenance(
            file=file,
            sha256="ab" * 32,
            size_bytes=1_234_567,
            rows=t.size,
            rows_refused=1,
            refused_lines=(77,),
            start="2026-05-14T10:32:00",
            start_source="column 'Date'",
            time_form="seconds in column 'Time [s]'",
            row_s=1 / rate_hz,
            notes=("The last line was cut off and was not read.",),
        ),
    )


def _columns(log: Log) -> tuple[ColumnUse, ...]:
    steps = {Quantity.VOLTAGE: 0.01, Quantity.CURRENT: 0.1, Quantity.CONSUMED: 1.0}
    return tuple(
        ColumnUse(
            column=c.column,
            key=c.key,
            quantity=str(c.quantity),
            place=c.place,
            label=c.label,
            unit=c.unit,
            reason=c.reason,
            update_s=0.2 if c.quantity is Quantity.VOLTAGE else 0.1,
            resolution=steps.get(c.quantity),
            used=c.quantity is not Quantity.UNKNOWN,
        )
        for c in log.channels
    )


def _stir(start_s: float, end_s: float, after: bool, tail_a: float | None = 1.9) -> Stir:
    def place(name: str, rest: float, mean: float | None, low_v: float | None) -> StirPlace:
        return StirPlace(
            place=name,
            rest_a=rest,
            mean_a=mean,
            p95_a=None if mean is None else mean * 1.7,
            peak_a=None if mean is None else mean * 2.2,
            mah=None if mean is None else mean * (end_s - start_s) / 3.6,
            lowest_v=low_v,
            sag_mohm=None if low_v is None else 31.0,
        )

    return Stir(
        start_s=start_s,
        end_s=end_s,
        rhythm_hz=0.5,
        after_flight=after,
        places=(
            place("bus", 1.15, 8.6, 5.86),
            place("left wing", 0.31, 3.4, 5.71),
            place("right wing", 0.29, 3.1, 5.80),
            place("tail", 0.17, tail_a, None),
        ),
    )


def _events() -> tuple[Event, ...]:
    load = [
        Event(
            kind=EventKind.SAG,
            place="right wing",
            start_s=150.0 + 9.7 * k,
            end_s=150.3 + 9.7 * k,
            reference_v=5.95,
            residual_v=5.60 - 0.001 * k,
            depth_v=0.35 + 0.001 * k,
            deficit_vs=0.08,
            peak_a=7.4,
            phase=PhaseKind.FLIGHT,
            explained=0.95,
            explained_by="branch resistance outside the event",
            origin=Origin.LOAD,
            evidence=Evidence.REAL,
            updates=2,
        )
        for k in range(60)
    ]
    dip = Event(
        kind=EventKind.SAG,
        place="left wing",
        start_s=522.0,
        end_s=522.6,
        reference_v=5.93,
        residual_v=4.60,
        depth_v=1.33,
        deficit_vs=0.74,
        peak_a=3.1,
        phase=PhaseKind.FLIGHT,
        explained=0.11,
        explained_by="branch resistance outside the event",
        origin=Origin.CONTACT,
        evidence=Evidence.REAL,
        updates=3,
    )
    spike = Event(
        kind=EventKind.SPIKE,
        place="tail",
        start_s=610.0,
        end_s=610.4,
        peak_a=6.2,
        prominence_a=4.8,
        charge_mah=0.4,
        burst=1,
        phase=PhaseKind.FLIGHT,
    )
    cut = Event(
        kind=EventKind.UNDERVOLTAGE,
        place="tail",
        start_s=898.0,
        end_s=899.9,
        truncated=True,
        residual_v=4.98,
        phase=PhaseKind.GROUND,
        origin=Origin.UNKNOWN,
    )
    return tuple(sorted([*load, dip, spike, cut], key=lambda e: e.start_s))


def _findings() -> tuple[Finding, ...]:
    return (
        Finding(
            code="sag-unexplained",
            level=Level.GROUND,
            place="left wing",
            title="The left wing lost 1.33 V for 0.6 s and its load does not explain it",
            evidence={
                "residual_v": 4.6,
                "depth_v": 1.33,
                "duration_s": 0.6,
                "explained": 0.11,
                "peak_a": 3.1,
            },
            explanations=(
                "A worn or dirty panel connector, or broken strands in the lead.",
                "A disturbed voltage reading of this node alone.",
            ),
            causes=(
                Cause(
                    kind="contact",
                    cause="A worn or dirty panel connector, or broken strands in the lead.",
                    speaks_for=("no other place fell then",),
                ),
                Cause(
                    kind="false-reading",
                    cause="A disturbed voltage reading of this node alone.",
                    speaks_against=("3 readings in a row show it",),
                ),
            ),
            ranked=True,
            confirm="With the system on, wiggle the left panel connector and look at the drop.",
            advice="Clean or replace the left panel connector before the next flight.",
            flight=1,
            start_s=522.0,
            end_s=522.6,
        ),
        Finding(
            code="branch-resistance-high",
            level=Level.WATCH,
            place="left wing",
            title="The lead to the left wing drops more per amp than the wire table expects",
            evidence={"mohm": 46.0, "low_mohm": 42.0, "high_mohm": 50.0, "expected_mohm": 24.0},
            explanations=("A lead longer or thinner than the profile says.",),
            causes=(
                Cause(kind="longer-lead", cause="A lead longer or thinner than the profile says."),
            ),
            confirm="Measure the drop along the lead at a known current.",
            advice="Look at the crimps of the left wing lead.",
            flight=1,
        ),
        Finding(
            code="log-too-thin",
            level=Level.UNKNOWN,
            place="tail",
            title="Dips shorter than 0.2 s can be missed by this log",
            evidence={"shortest_sure_dip_s": 0.2},
            confirm="Set the transmitter to a shorter interval, or log the unit's own minimum.",
        ),
    )


def _checks() -> tuple[CheckOutcome, ...]:
    fall = "Did a voltage fall further than its load explains?"
    return (
        CheckOutcome(
            code="brownout",
            question="Was a supply lost, down to the level at which electronics restart?",
            place="bus",
            outcome=OutcomeKind.PASSED,
            essential=True,
            sees="3.5 V or less for 0.1 s or longer",
        ),
        CheckOutcome(
            code="sag-unexplained",
            question=fall,
            place="left wing",
            outcome=OutcomeKind.FOUND,
            essential=True,
        ),
        CheckOutcome(
            code="sag-unexplained",
            question=fall,
            place="tail",
            outcome=OutcomeKind.NOT_JUDGED,
            essential=True,
            reason=NotJudged.TOO_SLOW,
            why="a dip shorter than 2.5 s can pass unseen",
            next_time="log the voltage of tail faster",
        ),
        CheckOutcome(
            code="servo-silent",
            question="Did a servo stop drawing current?",
            place=None,
            outcome=OutcomeKind.NOT_JUDGED,
            reason=NotJudged.TOO_FEW_FLIGHTS,
            why="it compares flights",
            next_time="add this log and later ones to the book",
        ),
    )


def _flight() -> Flight:
    return Flight(
        kind="flight",
        start_s=0.0,
        end_s=899.9,
        phases=(
            Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=30.0),
            Phase(kind=PhaseKind.REDUNDANCY_CHECK, start_s=30.0, end_s=45.0),
            Phase(kind=PhaseKind.GROUND, start_s=45.0, end_s=60.0),
            Phase(kind=PhaseKind.STIR, start_s=60.0, end_s=75.0),
            Phase(kind=PhaseKind.GROUND, start_s=75.0, end_s=120.0),
            Phase(kind=PhaseKind.FLIGHT, start_s=120.0, end_s=837.0),
            Phase(kind=PhaseKind.GROUND, start_s=837.0, end_s=899.9),
        ),
        stirs=(_stir(60.0, 75.0, False), _stir(850.0, 862.0, True, tail_a=None)),
        events=_events(),
        resistances=(
            Resistance(
                kind="source",
                place="pack 1",
                mohm=28.4,
                low_mohm=25.9,
                high_mohm=31.2,
                updates=2411,
                scale_s=0.2,
                method="changes of voltage on changes of current, Huber",
            ),
            Resistance(
                kind="source",
                place="pack 2",
                mohm=None,
                low_mohm=None,
                high_mohm=None,
                updates=12,
                refused="the current hardly moved",
            ),
            Resistance(
                kind="branch",
                place="left wing",
                parent="bus",
                mohm=46.2,
                low_mohm=42.3,
                high_mohm=50.4,
                updates=3201,
                offset_v=0.004,
                offset_low_v=-0.01,
                offset_high_v=0.02,
                expected_mohm=24.0,
                expected_low_mohm=20.0,
                expected_high_mohm=30.0,
            ),
            Resistance(
                kind="branch",
                place="right wing",
                parent="bus",
                mohm=21.0,
                low_mohm=18.5,
                high_mohm=23.6,
                updates=3201,
                offset_v=0.0,
            ),
        ),
        charge=(
            Charge(
                place="pack 1",
                logged_mah=812.0,
                integrated_mah=809.4,
                share=0.54,
                start_v=8.17,
                end_v=7.98,
                uncertain_mah=8.0,
            ),
            Charge(
                place="pack 2",
                logged_mah=691.0,
                integrated_mah=690.2,
                share=0.46,
                start_v=8.18,
                end_v=7.99,
            ),
            Charge(
                place="bus",
                logged_mah=1503.0,
                integrated_mah=1499.0,
                share=None,
                start_v=6.0,
                end_v=5.99,
            ),
        ),
        margins=(
            Margin(
                place="left wing",
                lowest_v=4.60,
                restart_v=3.5,
                observed_v=1.10,
                cases=(
                    WorstCase(
                        case="pack-lost", current_a=14.2, voltage_v=4.3, low_v=4.1, high_v=4.5
                    ),
                    WorstCase(
                        case="all-stalled", current_a=41.0, voltage_v=2.9, low_v=2.2, high_v=3.4
                    ),
                ),
            ),
            Margin(place="right wing", lowest_v=5.54, restart_v=3.5, observed_v=2.04),
            Margin(place="tail", lowest_v=5.61, restart_v=3.5, observed_v=2.11),
            Margin(place="bus", lowest_v=5.82, restart_v=3.5, observed_v=2.32),
            Margin(place="receiver 1", lowest_v=None, restart_v=3.5, observed_v=None),
        ),
        servos=(
            ServoShare(
                place="left wing",
                outputs=("1", "2"),
                drives="aileron",
                travel_a_per_pct_s=0.0041,
                hold_a_per_pct=0.012,
                low=0.0036,
                high=0.0047,
                condition_index=7.4,
                separable=False,
            ),
        ),
        packs=(
            PackState(
                place="pack 1",
                role="shared",
                label="A1",
                rest_v=8.17,
                landing_rest_v=7.98,
                share=0.54,
                low_share=0.52,
                high_share=0.56,
                drawn_mah=812.0,
                low_drawn_mah=790.0,
                high_drawn_mah=834.0,
                start_pct=100.0,
                low_start_pct=100.0,
                high_start_pct=100.0,
                landing_pct=68.8,
                low_landing_pct=67.9,
                high_landing_pct=69.6,
                basis="full",
                flights_left=1,
                cautious_left=0,
            ),
            PackState(
                place="pack 2",
                role="shared",
                drawn_mah=691.0,
                low_drawn_mah=690.0,
                high_drawn_mah=692.0,
                flights_left=1,
                cautious_left=1,
            ),
        ),
        pack_outs=(
            PackOut(
                place="pack 1",
                kind=OutKind.CHECK,
                start_s=31.0,
                end_s=44.0,
                back=True,
                share_before=0.54,
                carried_a=0.9,
                bus_v=5.97,
                own_v=8.21,
            ),
        ),
        loads=tuple(
            PlaceLoad(place=place, usual_a=usual, peak_a=peak, landing_a=usual, landing_v=5.9)
            for place, usual, peak in (
                ("pack 1", 3.6, 9.8),
                ("pack 2", 3.1, 8.4),
                ("bus", 6.7, 18.2),
                ("left wing", 2.6, 7.4),
                ("right wing", 2.4, 6.9),
                ("tail", 1.4, 4.2),
            )
        ),
    )


@pytest.fixture(scope="session")
def make_review() -> Make:
    """Makes a review of an invented aircraft, filled by hand; keywords replace its parts."""

    def make(
        *, seconds: float = 900.0, rate_hz: float = 10.0, file: str = "evening.csv", **parts: Any
    ) -> Review:
        log = _made_log(seconds, rate_hz, file)
        aircraft = Aircraft(
            name="Tern (invented)",
            packs=(
                Pack(name="pack 1", chemistry="lipo", cells=2, capacity_mah=2600),
                Pack(name="pack 2", chemistry="lipo", cells=2, capacity_mah=2600),
            ),
            bus="bus",
            nodes=(
                Node(name="left wing", fed_from="bus", mirror="right wing", servos=4),
                Node(name="right wing", fed_from="bus", mirror="left wing", servos=4),
                Node(name="tail", fed_from="bus", servos=3),
            ),
        )
        whole: dict[str, Any] = {
            "log": log,
            "aircraft": aircraft,
            "limits": Limits(comfort_v=5.0),
            "columns": _columns(log),
            "quality": Quality(
                row_s=1 / rate_hz,
                shortest_sure_dip_s=0.2,
                gaps=(Span(start_s=299.9, end_s=304.0),),
                restarts=(
                    Restart(time_s=10.0, place="tail", column="Tail used", before=120.0, after=0.0),
                ),
                dropouts=(Dropout(place=None, kind="blank", start_s=299.9, end_s=304.0),),
                spurious=(
                    Spurious(
                        time_s=100.0,
                        place="bus",
                        column="Bus U [V]",
                        value=0.0,
                        reason="one reading of 0 V while the unit still reports its current",
                    ),
                ),
                balance_a=0.35,
                balance_spread_a=0.04,
                notes=("The clock ran back once, at 00:12.",),
            ),
            "flights": (_flight(),),
            "findings": _findings(),
            "checks": _checks(),
        }
        whole |= parts
        return Review(**whole, readings=take_readings(whole["log"], whole["limits"]))

    return make


@pytest.fixture(scope="session")
def review(make_review: Make) -> Review:
    """One review of an invented aircraft, 15 minutes at 10 Hz, 24 columns."""
    return make_review()


@pytest.fixture(scope="session")
def bare_review(make_review: Make) -> Review:
    """A log in which nothing could be measured and nothing was found."""
    log = Log(
        frame=pd.DataFrame({"file/unknown": [1.0, 2.0]}, index=pd.Index([0.0, 1.0])),
        channels=(Channel(key="file/unknown", column="x", quantity=Quantity.UNKNOWN, place=None),),
        provenance=Provenance(file="bare.csv", sha256="0" * 64, size_bytes=9, rows=2),
    )
    return make_review(
        log=log,
        aircraft=Aircraft(inferred=True),
        columns=(),
        quality=Quality(row_s=None, shortest_sure_dip_s=None),
        flights=(),
        findings=(),
        checks=(),
    )


MakeHistory = Callable[..., History]


def _made_trend(
    code: str, place: str, count: int, unit: str, rise: list[float], **more: Any
) -> Trend:
    at = tuple(range(2, count))
    return Trend(
        code=code,
        place=place,
        quantity="rise of what was judged",
        unit=unit,
        flights=at,
        value=tuple(rise),
        reach=tuple(4.0 for _ in at),
        score=tuple(0.1 * v for v in rise),
        chart=tuple(max(0.0, 0.2 * v) for v in rise),
        limit=5.0,
        **more,
    )


@pytest.fixture(scope="session")
def make_history() -> MakeHistory:
    """Makes a history of an invented aircraft, filled by hand; keywords replace its parts."""

    def make(*, count: int = 12, name: str = "tern", **parts: Any) -> History:
        flights = tuple(
            HistoryFlight(
                id=f"{k:016x}-0",
                start=f"{date(2026, 4, 1) + timedelta(days=k)}T10:00:00",
                file=f"flight-{k:02d}.csv",
                kind="bench" if k == 0 else "flight",
                order="log",
                duration_s=540.0,
                flight_s=0.0 if k == 0 else 400.0,
            )
            for k in range(count)
        )
        usual = {"idle_v": 8.2, "lowest_stir_v": 8.0, "lowest_flight_v": 7.7}
        amps = {"rest_a": 0.2, "stir_mean_a": 1.0, "air_mean_a": 0.9}
        features = []
        for k, flight in enumerate(flights):
            wave = 0.03 * (k % 4)
            for n, place in enumerate(
                ("pack 1", "pack 2", "bus", "left wing", "right wing", "tail")
            ):
                found = {f: (v - 0.02 * n - wave, "V") for f, v in usual.items()}
                found |= {f: (v + 0.05 * n + wave, "A") for f, v in amps.items()}
                if n < 2:
                    found |= {
                        "used_mah": (230.0 + 10 * n + k, "mAh"),
                        "share": (0.52 - 0.04 * n, ""),
                    }
                    found |= {"start_v": (8.25, "V"), "end_v": (8.05, "V")}
                    found["source_mohm"] = (35.0 + n, "mOhm")
                elif n > 2:
                    worn = max(0, k - 6) * 7.0 if place == "left wing" else 0.0
                    found["branch_mohm"] = (25.0 + worn, "mOhm")
                    found["falls_unexplained"] = (2.0 if worn > 20 else 0.0, "")
                if flight.kind == "bench":
                    found = {f: v for f, v in found.items() if "flight" not in f and "air" not in f}
                features += [
                    Feature(
                        flight=flight.id,
                        place=place,
                        feature=f,
                        value=value,
                        unit=unit,
                        low=value - 1 if f.endswith("mohm") else None,
                        high=value + 1 if f.endswith("mohm") else None,
                    )
                    for f, (value, unit) in found.items()
                ]
        since = min(5, count - 1)
        rises = [2.0 if k % 2 else -3.0 for k in range(2, since)]
        rises += [30.0 + 12.0 * k for k in range(count - since)] if count > 2 else []
        flat = [1.0 if k % 2 else -1.0 for k in range(2, count)]
        history: dict[str, Any] = {
            "name": name,
            "aircraft": Aircraft(
                name=name,
                packs=(
                    Pack(name="pack 1", capacity_mah=2600.0),
                    Pack(name="pack 2", capacity_mah=2600.0),
                ),
                bus="bus",
                nodes=tuple(
                    Node(name=n, fed_from="bus") for n in ("left wing", "right wing", "tail")
                ),
            ),
            "flights": flights,
            "notes": (
                NoteMark(
                    kind="charged", place=None, text="both packs", date="2026-04-02", before=1
                ),
                NoteMark(
                    kind="checked", place="tail", text="looked at", date="2026-04-04", before=3
                ),
                NoteMark(
                    kind="repaired", place="tail", text="plug cleaned", date="2026-04-09", before=8
                ),
            ),
            "features": tuple(features),
            "trends": (
                _made_trend(
                    "servo-current-rising",
                    "right wing",
                    count,
                    "%",
                    rises,
                    baseline=tuple(range(2, since)),
                    watch=25.0,
                    ground=60.0,
                    since=since,
                ),
                _made_trend(
                    "servo-current-rising",
                    "left wing",
                    count,
                    "%",
                    flat,
                    baseline=tuple(range(2, count)),
                    watch=25.0,
                    ground=60.0,
                ),
            ),
            "findings": (
                Finding(
                    code="servo-current-rising",
                    level=Level.GROUND,
                    place="right wing",
                    servo="right wing 2",
                    title="right wing draws 45 % more than usual",
                    evidence={"servos": 4, "servos_known": "assumed", "p_trend": 0.00001},
                    explanations=("a worn servo", "a linkage that binds"),
                    causes=(
                        Cause(kind="worn-servo", cause="a worn servo", speaks_for=("it grew",)),
                        Cause(kind="binding", cause="a linkage that binds"),
                    ),
                    ranked=True,
                    confirm="Disconnect the linkages one at a time and stir.",
                    advice="Find the servo and put it right.",
                    since_flight=flights[since].id,
                    change=Change(
                        quantity="stir mean current",
                        unit="A",
                        before=0.84,
                        now=1.38,
                        rise=58.0,
                        low=40.0,
                        high=76.0,
                        rise_unit="% of one servo's share",
                        limit=60.0,
                        per_flight=12.0,
                        per_flight_low=9.0,
                        per_flight_high=15.0,
                        flights_to_limit=2,
                        flights_to_limit_low=1,
                        flights_to_limit_high=4,
                        false_alarm=0.01,
                    ),
                ),
                Finding(
                    code="contact-intermittent",
                    level=Level.WATCH,
                    place="left wing",
                    title="left wing lost voltage for moments",
                    evidence={"times": 4, "p_chance": 0.001},
                    confirm="Move that plug.",
                    advice="Clean that plug.",
                    since_flight=flights[-2].id,
                ),
            ),
            "not_judged": ("receiver 1: no voltage",),
        }
        return History(**(history | parts))

    return make


@pytest.fixture(scope="session")
def history(make_history: MakeHistory) -> History:
    """Twelve recordings: a servo that draws more from No. 6 on, a contact that opens."""
    return make_history()


CONTRACT = Path(__file__).parent / "schema1" / "contract.txt"
_TYPES: dict[str, tuple[type, ...]] = {
    "t": (str,), "n": (int, float), "i": (int,), "b": (bool,), "o": (dict,),
}  # fmt: skip


def _members(content: Any, path: str) -> list[Any]:
    """Every value that a path such as ``reviews[].log`` leads to."""
    found = [content]
    for part in [] if path == "." else path.split("."):
        key = part.removesuffix("[]")
        found = [one[key] for one in found if isinstance(one, dict) and one.get(key) is not None]
        if part.endswith("[]"):
            found = [member for one in found for member in one]
    return found


def _unlike(value: Any, kind: str) -> bool:
    wanted = _TYPES[kind[0]]
    if value is None:
        return not kind.endswith("?")
    return not isinstance(value, wanted) or (isinstance(value, bool) and bool not in wanted)


def breaches(content: dict[str, Any]) -> list[str]:
    """What a document lacks, or holds as another type, of the contract of its kind."""
    kind, found = "", []
    for line in CONTRACT.read_text(encoding="utf-8").splitlines():
        path, _, keys = line.partition(" ")
        if path.startswith("busbook."):
            kind = path
        elif not path.startswith("#") and kind == content["schema"]:
            for name, wanted in (key.split(":") for key in keys.split()):
                for one in _members(content, path):
                    value = one if not name else one.get(name, ...)
                    if value is ...:
                        found.append(f"{path} lacks {name}")
                    elif _unlike(value, wanted):
                        found.append(f"{path} {name} is {value!r}")
    return sorted(set(found))


@pytest.fixture(scope="session")
def contract_breaches() -> Callable[[dict[str, Any]], list[str]]:
    """Checks a JSON document against the keys and types that tests/schema1 promises."""
    return breaches
