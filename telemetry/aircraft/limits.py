"""The limits in force: every threshold, with its unit and source."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, NamedTuple, cast

from pydantic import Field

from telemetry.aircraft.base import Record


class LimitSource(StrEnum):
    """What the default of a limit rests on."""

    COMMON_PRACTICE = "cp"
    OURS = "ours"
    SAG_STANDARD = "after IEC 61000-4-30"


class LimitWords(NamedTuple):
    """What a limit is, with its unit, and its source; ``goes_on`` from the limit above it."""

    what: str
    source: LimitSource
    goes_on: bool


def _limit(
    default: float | None, what: str, source: LimitSource, *, goes_on: bool = False, **bounds: Any
) -> Any:
    """A field of ``Limits``, with its words in the description and each by itself."""
    words = LimitWords(what, source, goes_on)._asdict()
    return Field(default, description=f"{what} ({source})", json_schema_extra=words, **bounds)


_CP, _OURS, _IEC = LimitSource.COMMON_PRACTICE, LimitSource.OURS, LimitSource.SAG_STANDARD


class Limits(Record):
    """Every threshold of the review in one place.

    Sources: "(cp)" common practice, no source: set it from the data sheet; "after IEC 61000-4-30"
    for the event definition; "ours" a default of this project, with its reason beside it.
    """

    restart_v: float = _limit(3.5, "restart level of receivers and units, V", _CP, gt=0)
    comfort_v: float | None = _limit(
        None, "lowest comfortable servo supply, V; 5.0, or 6.0 on a bus above 7.2 V", _CP, gt=0
    )
    margin_watch_v: float = _limit(1.0, "margin to restart: watch under, V", _CP, ge=0)
    margin_ground_v: float = _limit(0.5, "margin to restart: ground under, V", _CP, ge=0)
    sag_pct: float = _limit(5.0, "sag threshold below reference, %", _IEC, gt=0, lt=100)
    sag_v: float = _limit(0.25, "sag threshold, at least this far below reference, V", _CP, ge=0)
    sag_hysteresis_pct: float = _limit(2.0, "hysteresis, % of reference", _IEC, ge=0)
    sag_open_s: float = _limit(10.0, "a sag open this long is a level shift, s", _OURS, gt=0)
    reference_s: float = _limit(60.0, "time constant of the sliding reference, s", _IEC, gt=0)
    spike_mads: float = _limit(5.0, "spike above its median, in scaled MAD", _OURS, gt=0)
    spike_a: float = _limit(1.0, "spike above its median, at least, A", _OURS, ge=0)
    spike_window_s: float = _limit(30.0, "window of the running median, s", _OURS, gt=0)
    burst_s: float = _limit(2.0, "spikes closer than this form one burst, s", _OURS, gt=0)
    stir_s: float = _limit(2.0, "shortest stir, s", _OURS, gt=0)
    stir_factor: float = _limit(3.0, "stir mean over rest, factor", _OURS, gt=1)
    stir_a: float = _limit(0.5, "stir mean over rest, at least, A", _OURS, ge=0)
    flight_s: float = _limit(90.0, "shortest flight told by activity alone, s", _OURS, gt=0)
    flight_pause_s: float = _limit(20.0, "longest pause within a flight, s", _OURS, gt=0)
    gap_intervals: float = _limit(3.0, "gap: over this many update intervals", _OURS, gt=1)
    gap_s: float = _limit(1.0, "gap: and over this long, s", _OURS, gt=0)
    reserve_pct: float = _limit(30.0, "reserve left in a pack at landing, %", _CP, ge=0, le=100)
    share_points: float = _limit(15.0, "share of a shared pair, 50 % +/- points", _CP, gt=0, le=50)
    branch_watch_mohm: float = _limit(8.0, "branch resistance up by: watch, mOhm", _OURS, gt=0)
    branch_watch_pct: float = _limit(20.0, "and by, %", _OURS, goes_on=True, gt=0)
    branch_over_expected: float = _limit(1.5, "branch over expected: watch, factor", _OURS, gt=1)
    branch_over_expected_mohm: float = _limit(10.0, "and by, mOhm", _OURS, goes_on=True, gt=0)
    branch_ground_mohm: float = _limit(25.0, "branch resistance up by: ground, mOhm", _OURS, gt=0)
    branch_ground_pct: float = _limit(75.0, "and by, %", _OURS, goes_on=True, gt=0)
    servo_watch_pct: float = _limit(25.0, "rise per average servo share: watch, %", _OURS, gt=0)
    servo_ground_pct: float = _limit(60.0, "rise per average servo share: ground, %", _OURS, gt=0)
    return_flights: float = _limit(
        100.0, "a return level is reached once in this many flights", _OURS, ge=1
    )
    pin_a: float = _limit(3.0, "continuous current of one servo-style connector pin, A", _CP, gt=0)
    panel_pin_a: float = _limit(5.0, "continuous current of a panel connector pin, A", _CP, gt=0)


def limit_words(name: str) -> LimitWords:
    """The words of a limit, by its name in :class:`Limits`."""
    extra = cast("dict[str, Any]", Limits.model_fields[name].json_schema_extra)
    return LimitWords(**extra)
