"""Places under any names: the profile says what each is, and all results are the same.

The logs are invented; nothing but the names of the places differs between two reviews of one log.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, infer_path
from telemetry.app.pipeline import review
from telemetry.checks.across import judge
from telemetry.importer import read_log
from telemetry.model.log import Log
from telemetry.report.documents.of_history import history_document
from telemetry.report.draw import Scene
from telemetry.report.writers import json as documents
from telemetry.results import History, Review
from telemetry.simulate import Fault, FaultKind, fly, write_csv
from telemetry.simulate.demo import dunlin_season, tern_season
from telemetry.simulate.season import Season
from telemetry.trends.features.flight import measure_flight
from telemetry.trends.measures import Measures

SAMPLES = Path(__file__).parents[2] / "sample_logs"
NAMES = {
    "pack 1": "front battery",
    "pack 2": "rear battery",
    "regulator": "step-down",
    "bus": "main board",
    "left wing": "bus of alpha",  # a word that the name of another place has
    "right wing": "gear bay",
    "tail": "zeta",
}


def profile_of(log: Log) -> Aircraft:
    """What the usual names tell, as a profile."""
    return infer_path(log).model_copy(update={"name": "curlew", "inferred": False})


def renamed(craft: Aircraft) -> Aircraft:
    """The same profile with other names of its places."""

    def other(value: Any) -> Any:
        if isinstance(value, Mapping):
            return {key: other(x) for key, x in value.items()}
        if isinstance(value, list):
            return [other(x) for x in value]
        return NAMES.get(value, value) if isinstance(value, str) else value

    return Aircraft.model_validate(other(craft.model_dump(mode="json")))


def settings_of(log: Log) -> dict[str, str]:
    """What a user would type to have each column under the other name."""
    return {
        c.column: f"{NAMES[c.place]}/{c.quantity}{'/' if c.hold else ''}{c.hold}[{c.source_unit}]"
        for c in log.channels
        if c.place in NAMES
    }


def as_usual(document: Any) -> Any:
    """A document with the usual names put back into every text."""
    usual = {new: old for old, new in NAMES.items()}
    usual |= {new.capitalize(): old.capitalize() for new, old in usual.items()}  # heads a sentence
    named = re.compile("|".join(sorted(map(re.escape, usual), key=len, reverse=True)))
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    return json.loads(named.sub(lambda found: usual[found[0]], text))


def reviewed(path: Path) -> tuple[Review, Review]:
    """One log reviewed under the usual names, and under the others."""
    log = read_log(path)
    craft = profile_of(log)
    other = read_log(path, settings=settings_of(log))
    assert {NAMES.get(c.place or "", c.place) for c in log.channels} == {
        c.place for c in other.channels
    }
    return review(log, craft), review(other, renamed(craft))


def told(one: Review) -> dict[str, Any]:
    """Its document without how the columns were read; what is of one instant, by the usual name."""
    found = as_usual(documents.review_document(one))
    del found["columns"]
    found["quality"]["restarts"].sort(key=lambda r: (r["time_s"], r["place"]))
    for flight in found["flights"]:
        flight["events"].sort(key=lambda e: (e["start_s"], e["place"], e["kind"], e["end_s"]))
    return found


def drawn(one: Review) -> list[Any]:
    """The places in the order in which figures show them, with colour and dash of each."""
    looks = Scene.of(one).looks
    return [as_usual([place, look.colour, look.dash]) for place, look in looks.items()]


def flown(folder: Path, season: Season, *faults: Fault, flights: int, **habits: Any) -> list[Path]:
    """Logs of short flights of an invented aircraft."""
    season = replace(
        season,
        flights=flights,
        faults=faults,
        changes=(),
        dt_s=0.05,
        habits=replace(season.habits, flight_s=90.0, **habits),
    )
    return [
        write_csv(folder / f"{k}.csv", recording, dialect=season.dialect)
        for k, recording in enumerate(fly(season))
    ]


def measured(reviews: Iterable[Review]) -> list[Measures]:
    return [measure_flight(r) for r in reviews]


@pytest.mark.parametrize("name", ["tern-flight-12", "dunlin-flight-11", "tern-bench-stir"])
def test_a_log_of_the_demo_season_is_reviewed_alike(name: str) -> None:
    usual, other = reviewed(SAMPLES / f"{name}.csv")
    assert told(other) == told(usual)
    assert drawn(other) == drawn(usual)


@pytest.mark.parametrize(
    ("fault", "codes"),
    [
        (Fault(kind=FaultKind.PACK_OUT, place="pack 2", start=1.0), {"pack-out"}),
        (Fault(kind=FaultKind.BROWNOUT, place="bus", start=1.0), {"brownout"}),
    ],
    ids=["a pack out", "a brownout"],
)
@pytest.mark.parametrize("season", [tern_season, dunlin_season])
def test_a_fault_is_found_at_its_place_and_no_other_part_accused(
    tmp_path: Path, season: Any, fault: Fault, codes: set[str]
) -> None:
    (path,) = flown(tmp_path, season(), fault, flights=1)
    usual, other = reviewed(path)
    assert codes <= {f.code for f in usual.findings}
    assert told(other) == told(usual)


def test_a_healthy_pack_that_is_switched_off_for_a_check_is_not_accused(tmp_path: Path) -> None:
    (path,) = flown(tmp_path, dunlin_season(), flights=1, check=1.0)
    usual, other = reviewed(path)
    assert told(other) == told(usual)
    assert "brownout" not in {f.code for f in other.findings}


def test_a_season_is_judged_alike(tmp_path: Path) -> None:
    faults = (
        Fault(
            kind=FaultKind.SERVO_SILENT, place="left wing", servo="left wing 2", onset=5, start=1
        ),
        Fault(kind=FaultKind.CONNECTOR, place="tail", onset=5, start=0.06, growth=0.02),
        Fault(kind=FaultKind.PACK_AGEING, place="pack 2", onset=5, start=0.6, growth=0.3),
    )
    paths = flown(tmp_path, tern_season(), *faults, flights=8)
    pairs = [reviewed(path) for path in paths]
    craft = pairs[0][0].aircraft
    usual = judge(measured(a for a, _ in pairs), aircraft=craft)
    other = judge(measured(b for _, b in pairs), aircraft=renamed(craft))
    assert {("servo-silent", "left wing"), ("source-resistance-rising", "pack 2")} <= {
        (f.code, f.place) for f in usual.findings
    }

    def judged(history: History) -> Any:
        return as_usual(documents.history_document(history))

    def shown(history: History) -> Any:
        return as_usual(asdict(history_document(history)))

    assert judged(other) == judged(usual)
    assert shown(other) == shown(usual)
