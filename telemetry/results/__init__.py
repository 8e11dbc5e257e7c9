"""Frozen records of everything the review finds; quantities are None where not measured.

Times are seconds from the first row of the log. Voltages V, currents A, charge mAh, resistances
mOhm. Nothing here computes: detectors and estimators fill the records, reports print them.
"""

from __future__ import annotations

from telemetry.results.answer import Answer
from telemetry.results.checks import CheckOutcome, NotJudged, OutcomeKind
from telemetry.results.events import Event, Stir, StirPlace
from telemetry.results.findings import OF_ONE_SERVO, Cause, Change, Finding
from telemetry.results.history import (
    Alignment,
    Difference,
    Feature,
    FlightPair,
    History,
    HistoryFlight,
    NoteMark,
    PairedFlight,
    Trend,
)
from telemetry.results.kinds import (
    FALLS,
    LOADED_PHASES,
    WORKING_PHASES,
    ChargeBasis,
    DroopKind,
    EventKind,
    Evidence,
    Level,
    Origin,
    OutKind,
    OutSign,
    PhaseKind,
    UnusualKind,
)
from telemetry.results.measures import (
    DropRatio,
    LeadChange,
    LowSupply,
    Margin,
    PartLoad,
    PlaceLoad,
    Resistance,
    ServoShare,
    SupplyLevel,
    UnusualCurrent,
    WatchedCurrent,
    WorstCase,
)
from telemetry.results.packs import (
    Charge,
    Droop,
    Knee,
    LoadDrop,
    PackOut,
    PackState,
    PackTwins,
    PathStep,
)
from telemetry.results.recording import ColumnUse, Dropout, Phase, Quality, Restart, Span, Spurious
from telemetry.results.review import Comparison, Flight, Review, as_dict
from telemetry.results.tables import Tables

__all__ = [
    "FALLS",
    "LOADED_PHASES",
    "OF_ONE_SERVO",
    "WORKING_PHASES",
    "Alignment",
    "Answer",
    "Cause",
    "Change",
    "Charge",
    "ChargeBasis",
    "CheckOutcome",
    "ColumnUse",
    "Comparison",
    "Difference",
    "Droop",
    "DroopKind",
    "DropRatio",
    "Dropout",
    "Event",
    "EventKind",
    "Evidence",
    "Feature",
    "Finding",
    "Flight",
    "FlightPair",
    "History",
    "HistoryFlight",
    "Knee",
    "LeadChange",
    "Level",
    "LoadDrop",
    "LowSupply",
    "Margin",
    "NotJudged",
    "NoteMark",
    "Origin",
    "OutKind",
    "OutSign",
    "OutcomeKind",
    "PackOut",
    "PackState",
    "PackTwins",
    "PairedFlight",
    "PartLoad",
    "PathStep",
    "Phase",
    "PhaseKind",
    "PlaceLoad",
    "Quality",
    "Resistance",
    "Restart",
    "Review",
    "ServoShare",
    "Span",
    "Spurious",
    "Stir",
    "StirPlace",
    "SupplyLevel",
    "Tables",
    "Trend",
    "UnusualCurrent",
    "UnusualKind",
    "WatchedCurrent",
    "WorstCase",
    "as_dict",
]
