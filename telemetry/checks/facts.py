"""What a check of one log is given."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.aircraft import Aircraft, Limits
from telemetry.model.channels import PlaceKind, Quantity
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

    @property
    def lost_share(self) -> float:
        """Part of the flights' time in which all telemetry was lost, 0 to 1.

        Between two flights of one file nothing is lost.
        """
        span_s = sum(f.duration_s for f in self.flights)
        lost_s = sum(
            max(0.0, min(d.end_s, f.end_s) - max(d.start_s, f.start_s))
            for d in self.quality.dropouts
            for f in self.flights
            if d.place is None
        )
        return lost_s / span_s if span_s > 0 else 0.0


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

    def places(self, quantity: Quantity) -> tuple[str, ...]:
        """Places whose running value is logged, in the order of the file."""
        return tuple(dict.fromkeys(c.place for c in self._columns(quantity) if c.place))

    def logs(self, quantity: Quantity, place: str) -> bool:
        """Whether a quantity of a place is logged."""
        return any(c.place == place for c in self._columns(quantity))

    def volts_column(self, place: str) -> str:
        """The column of a place's voltage, as in the file; "" where it has none."""
        found = (c.column for c in self._columns(Quantity.VOLTAGE) if c.place == place)
        return next(found, "")

    def voltage_step_s(self, place: str) -> float | None:
        """Usual time between two readings of a place's voltage, or of its own minimum, s."""
        columns = (c for c in self.recording.columns if c.used and c.place == place)
        found = [c.update_s for c in columns if c.quantity == Quantity.VOLTAGE]
        return min((s for s in found if s is not None), default=None)

    def feed_voltage(self, place: str) -> str | None:
        """The nearest place above whose voltage is logged, where the way up is single."""
        above = self.aircraft.parent(place)
        while above is not None and not self.logs(Quantity.VOLTAGE, above):
            above = self.aircraft.parent(above)
        return above

    def currents(self) -> tuple[str, ...]:
        """Places of the radio's supply whose current is logged."""
        return tuple(p for p in self.places(Quantity.CURRENT) if not self.aircraft.of_motor(p))

    def has_current(self, place: str) -> bool:
        """Whether a current of the place, above it, below it, or of the whole is logged."""
        aircraft = self.aircraft
        supply = (PlaceKind.PACK, PlaceKind.BUS, PlaceKind.REGULATOR, PlaceKind.OTHER)
        return any(
            p in (place, aircraft.root)
            or aircraft.kind(p) in supply
            or aircraft.feed_path(place, p)
            or aircraft.feed_path(p, place)
            for p in self.currents()
        )

    def _columns(self, quantity: Quantity) -> tuple[ColumnUse, ...]:
        return tuple(
            c for c in self.recording.columns if c.used and c.quantity == quantity and not c.hold
        )
