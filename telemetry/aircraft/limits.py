"""The limits in force: every threshold, with its unit and source."""

from __future__ import annotations

from pydantic import Field

from telemetry.aircraft.base import Record


class Limits(Record):
    """Every threshold of the review in one place.

    Sources: "(cp)" common practice, no source: set it from the data sheet; "after IEC 61000-4-30"
    for the event definition; "ours" a default of this project, with its reason beside it.
    """

    restart_v: float = Field(3.5, gt=0, description="restart level of receivers and units, V (cp)")
    comfort_v: float | None = Field(
        None,
        gt=0,
        description="lowest comfortable servo supply, V; 5.0, or 6.0 on a bus above 7.2 V (cp)",
    )
    margin_watch_v: float = Field(1.0, ge=0, description="margin to restart: watch under, V (cp)")
    margin_ground_v: float = Field(0.5, ge=0, description="margin to restart: ground under, V (cp)")
    sag_pct: float = Field(
        5.0, gt=0, lt=100, description="sag threshold below reference, % (after IEC 61000-4-30)"
    )
    sag_v: float = Field(
        0.25, ge=0, description="sag threshold, at least this far below reference, V (cp)"
    )
    sag_hysteresis_pct: float = Field(
        2.0, ge=0, description="hysteresis, % of reference (after IEC 61000-4-30)"
    )
    sag_open_s: float = Field(
        10.0, gt=0, description="a sag open this long is a level shift, s (ours)"
    )
    reference_s: float = Field(
        60.0, gt=0, description="time constant of the sliding reference, s (after IEC 61000-4-30)"
    )
    spike_mads: float = Field(5.0, gt=0, description="spike above its median, in scaled MAD (ours)")
    spike_a: float = Field(1.0, ge=0, description="spike above its median, at least, A (ours)")
    spike_window_s: float = Field(30.0, gt=0, description="window of the running median, s (ours)")
    burst_s: float = Field(
        2.0, gt=0, description="spikes closer than this form one burst, s (ours)"
    )
    stir_s: float = Field(2.0, gt=0, description="shortest stir, s (ours)")
    stir_factor: float = Field(3.0, gt=1, description="stir mean over rest, factor (ours)")
    stir_a: float = Field(0.5, ge=0, description="stir mean over rest, at least, A (ours)")
    flight_s: float = Field(
        90.0, gt=0, description="shortest flight told by activity alone, s (ours)"
    )
    flight_pause_s: float = Field(20.0, gt=0, description="longest pause within a flight, s (ours)")
    gap_intervals: float = Field(
        3.0, gt=1, description="gap: over this many update intervals (ours)"
    )
    gap_s: float = Field(1.0, gt=0, description="gap: and over this long, s (ours)")
    reserve_pct: float = Field(
        30.0, ge=0, le=100, description="reserve left in a pack at landing, % (cp)"
    )
    share_points: float = Field(
        15.0, gt=0, le=50, description="share of a shared pair, 50 % +/- points (cp)"
    )
    branch_watch_mohm: float = Field(
        8.0, gt=0, description="branch resistance up by: watch, mOhm (ours)"
    )
    branch_watch_pct: float = Field(20.0, gt=0, description="and by, % (ours)")
    branch_over_expected: float = Field(
        1.5, gt=1, description="branch over expected: watch, factor (ours)"
    )
    branch_over_expected_mohm: float = Field(10.0, gt=0, description="and by, mOhm (ours)")
    branch_ground_mohm: float = Field(
        25.0, gt=0, description="branch resistance up by: ground, mOhm (ours)"
    )
    branch_ground_pct: float = Field(75.0, gt=0, description="and by, % (ours)")
    servo_watch_pct: float = Field(
        25.0, gt=0, description="rise per average servo share: watch, % (ours)"
    )
    servo_ground_pct: float = Field(
        60.0, gt=0, description="rise per average servo share: ground, % (ours)"
    )
    return_flights: float = Field(
        100.0, ge=1, description="a return level is reached once in this many flights (ours)"
    )
    pin_a: float = Field(
        3.0, gt=0, description="continuous current of one servo-style connector pin, A (cp)"
    )
    panel_pin_a: float = Field(
        5.0, gt=0, description="continuous current of a panel connector pin, A (cp)"
    )
