"""What a recording holds and can show: spans, phases, gaps, restarts, the use of its columns."""

from __future__ import annotations

from dataclasses import dataclass, field

from telemetry.results.kinds import PhaseKind
from telemetry.results.tables import INNER


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time, half open: start_s <= t < end_s."""

    start_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        """Length in s."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase(Span):
    """One phase of a recording."""

    kind: PhaseKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropout(Span):
    """Telemetry of a place (or of all, place None) froze or went blank for a while."""

    place: str | None
    kind: str  # "frozen", "blank" or "zeros"


@dataclass(frozen=True, slots=True, kw_only=True)
class Restart:
    """A counter that fell, or a clock that began again: a unit started anew or was reset.

    Attributes
    ----------
    time_s : float
    place : str or None
    column : str
    before, after : float
    clock : bool
        Whether it counts time: only a restart sets such a one back.
    silent_s : float or None
        How long the unit was silent before; 0 where it reported too closely for a restart, None
        where the log cannot tell.
    ran_on : tuple of str
        Places with a counter that ran on meanwhile.
    ran_over : bool
        It came to the end of what such a counter holds and went on from zero without a break.
    """

    time_s: float
    place: str | None
    column: str
    before: float
    after: float
    clock: bool = False
    silent_s: float | None = None
    ran_on: tuple[str, ...] = ()
    ran_over: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Spurious:
    """A single impossible reading, set aside before anything else was judged."""

    time_s: float
    place: str
    column: str
    value: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnUse:
    """One column of the file: how it was read, how often it brings news, whether it was used.

    ``hold`` as a channel has it.
    """

    column: str
    key: str
    quantity: str
    place: str | None
    label: str
    unit: str
    reason: str
    update_s: float | None
    resolution: float | None
    used: bool
    hold: str = field(default="", metadata=INNER)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A moment that the pilot marked in words; ``time_s`` from the first row of the log."""

    time_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """What the log can and cannot show.

    Attributes
    ----------
    row_s : float or None
        Median row step, s.
    shortest_sure_dip_s : float or None
        The shortest voltage dip that the log is sure to show: the longest usual update interval
        of the voltage channels.
    balance_a, balance_spread_a : float or None
        Total current minus the sum of the nodes, A: median and scaled MAD; None where the log
        has no total or no node currents.
    """

    row_s: float | None
    shortest_sure_dip_s: float | None
    gaps: tuple[Span, ...] = ()
    restarts: tuple[Restart, ...] = ()
    dropouts: tuple[Dropout, ...] = ()
    spurious: tuple[Spurious, ...] = ()
    balance_a: float | None = None
    balance_spread_a: float | None = None
    notes: tuple[str, ...] = ()
