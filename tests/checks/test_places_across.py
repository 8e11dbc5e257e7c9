"""Places that no word of the dictionary names: judged as nodes across flights, or said to be not.

The seasons are invented. That a servo that falls silent takes its share of the node's current with
it is Kirchhoff's current law.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.app.cache import measured
from telemetry.app.pipeline import review
from telemetry.checks.across import judge
from telemetry.importer import read_log
from telemetry.results import Level
from telemetry.simulate import Fault, FaultKind, fly, write_csv
from telemetry.simulate.demo import tern_season
from telemetry.trends.measures import Blocks, Measures

Make = Callable[..., Any]

CODES = {"left wing": "wl", "right wing": "wr", "tail": "hk"}
FINNISH = {"left wing": "vasen siipi", "right wing": "oikea siipi", "tail": "peräsin"}


def renamed(flights: list[Measures], names: Mapping[str, str]) -> list[Measures]:
    """The same measures under other names of the places."""
    out = []
    for m in flights:
        text = json.dumps(m.document(), ensure_ascii=False)
        for old, new in names.items():
            text = text.replace(f'"{old}"', f'"{new}"')
        out.append(Measures.of(json.loads(text)))
    return out


def half_from(since: int) -> Callable[[int], float]:
    return lambda k: 0.6 if k >= since else 1.0


@pytest.mark.parametrize("names", [CODES, FINNISH])
@pytest.mark.parametrize("listed", [False, True])
def test_a_servo_that_died_is_found_whatever_its_node_is_called(
    make_season: Make, names: dict[str, str], listed: bool
) -> None:
    flights = make_season(4, current={"left wing": half_from(12)})
    craft = Aircraft(bus="bus", nodes=(Node(name=names["tail"], fed_from="bus"),))
    history = judge(renamed(flights, names), aircraft=craft if listed else None)
    (found,) = history.findings
    assert (found.code, found.place) == ("servo-silent", names["left wing"])
    assert found.level is Level.GROUND
    assert len(history.not_judged) == len(judge(flights).not_judged)


@pytest.mark.parametrize("names", [CODES, FINNISH])
def test_a_healthy_season_stays_clear_and_has_the_same_trends(
    make_season: Make, names: dict[str, str]
) -> None:
    for seed in range(4):
        flights = make_season(seed)
        known, other = judge(flights), judge(renamed(flights, names))
        assert other.findings == ()
        assert {(t.code, t.place) for t in other.trends} == {
            (t.code, names.get(t.place, t.place)) for t in known.trends
        }


def test_a_lead_that_rises_is_found_whatever_its_node_is_called(make_season: Make) -> None:
    flights = make_season(5, lead={"tail": lambda k: 40.0 if k > 9 else 0.0})
    history = judge(renamed(flights, FINNISH))
    assert ("branch-resistance-rising", "peräsin") in {(f.code, f.place) for f in history.findings}


def also(flights: list[Measures], place: str, *, volts: float = 0.0, amps: float = 0.0) -> Any:
    """The same flights with one place more, of constant voltage and current."""

    def more(blocks: Blocks) -> Blocks:
        n = next(iter(blocks.amps.values())).size
        own_v = {place: np.full(n, volts)} if volts else {}
        own_a = {place: np.full(n, amps)} if amps else {}
        return replace(blocks, amps={**blocks.amps, **own_a}, volts={**blocks.volts, **own_v})

    return [replace(m, stir=m.stir and more(m.stir), air=m.air and more(m.air)) for m in flights]


@pytest.mark.parametrize(
    ("place", "readings", "listed"),
    [
        ("motor", {"amps": 40.0}, ["current of motor"]),
        ("drive", {"volts": 22.2, "amps": 40.0}, ["current of drive", "voltage of drive"]),
        ("rx", {"volts": 5.0, "amps": 0.2}, ["voltage of rx"]),
    ],
)
def test_what_is_compared_with_nothing_is_listed(
    make_season: Make, place: str, readings: dict[str, float], listed: list[str]
) -> None:
    flights = make_season(2)
    alone = ("current of", "voltage of")
    assert not any(line.startswith(alone) for line in judge(flights).not_judged)
    history = judge(also(flights, place, **readings))
    assert history.findings == ()
    told = [line.partition(":")[0] for line in history.not_judged if line.startswith(alone)]
    assert told == listed


def test_a_node_of_too_few_flights_is_listed(make_season: Make) -> None:
    flights = make_season(2)
    few = [*flights[:-2], *also(flights[-2:], "zz", amps=0.3)]
    assert any(line.startswith("servo currents of zz") for line in judge(few).not_judged)


def test_a_simulated_servo_dies_on_a_node_of_an_unknown_name(tmp_path: Path) -> None:
    season = tern_season()
    dead = Fault(
        kind=FaultKind.SERVO_SILENT, place="left wing", servo="left wing 2", onset=5, start=1.0
    )
    season = replace(
        season,
        flights=7,
        faults=(dead,),
        changes=(),
        dt_s=0.05,
        habits=replace(season.habits, flight_s=90.0),
    )
    seasons = []
    for k, recording in enumerate(fly(season)):
        path = tmp_path / f"{k}.csv"
        write_csv(path, recording, dialect=season.dialect)
        text = path.read_text()
        for old, new in (("Left wing", "WL"), ("Right wing", "WR"), ("Tail ", "HK ")):
            assert old in text
            text = text.replace(old, new)
        path.write_text(text)
        seasons.append(measured(review(read_log(path))))
    found = [(f.code, f.place) for f in judge(seasons).findings]
    assert found == [("servo-silent", "wl")]
