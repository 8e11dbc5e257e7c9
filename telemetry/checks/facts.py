"""What a check of one log is given."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.aircraft import Aircraft, Limits
from telemetry.model.unsettled import Unsettled
from telemetry.results import ColumnUse, Flight, Quality


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingFacts:
    """What is known of a whole recording.

    Attributes
    ----------
    aircraft : Aircraft
        The profile, with the nodes of the log added.
    columns : tuple of ColumnUse
    quality : Quality
    flights : tuple of Flight
    unsettled : tuple of Unsettled
        Columns that may be a voltage or a current and were not understood.
    """

    aircraft: Aircraft
    columns: tuple[ColumnUse, ...]
    quality: Quality
    flights: tuple[Flight, ...]
    unsettled: tuple[Unsettled, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightFacts:
    """What is known of one flight of a recording."""

    flight: Flight
    recording: RecordingFacts

    @property
    def aircraft(self) -> Aircraft:
        """The profile, with the nodes of the log added."""
        return self.recording.aircraft

    @property
    def limits(self) -> Limits:
        """Limits in force."""
        return self.recording.aircraft.limits

    @property
    def quality(self) -> Quality:
        """Of the whole recording."""
        return self.recording.quality

    def steps(self, quantity: str) -> dict[str, float]:
        """Resolution of a quantity's column, in its unit, by place; 0 where it is not known."""
        return {
            c.place: c.resolution or 0.0
            for c in self.recording.columns
            if c.quantity == quantity and c.place
        }
