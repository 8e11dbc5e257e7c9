"""Ways to the bus, leads known by the whole current, units that fall silent: seasons by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node, Pack
from telemetry.results import Finding, History, Level
from telemetry.season.judge import judge
from telemetry.season.measures import Measures

Make = Callable[..., Any]

CRAFT = Aircraft(
    name="Tern (invented)",
    bus="bus",
    nodes=tuple(Node(name=n, fed_from="bus") for n in ("left wing", "right wing", "tail")),
)
PAIR = CRAFT.model_copy(update={"packs": (Pack(name="pack 1"), Pack(name="pack 2"))})


def only(history: History, code: str) -> Finding:
    found = [f for f in history.findings if f.code == code]
    assert len(found) == 1, [(f.code, f.place) for f in history.findings]
    return found[0]


def test_small_offset_and_a_lead_are_told_apart_by_the_slope(make_season: Make) -> None:
    """25 mOhm more in a lead: the drop per amp rises within each flight, and hardly at rest."""
    flights = make_season(26, lead={"tail": lambda k: 25.0 if k >= 11 else 0.0})
    history = judge(flights, aircraft=CRAFT)
    assert [(f.code, f.place) for f in history.findings] == [("branch-resistance-rising", "tail")]


def two_packs(
    flights: list[Measures], mohm: Callable[[int], tuple[float, float]]
) -> list[Measures]:
    """The same with the total divided between two packs of unequal voltage, by Kirchhoff."""
    out = []
    for k, m in enumerate(flights, 1):
        assert m.air is not None
        one, two = mohm(k)
        total = m.air.amps["bus"]
        # Packs 40 mV apart: the fuller one gives 40 mV / (R1 + R2) more, whatever the load.
        first = (two * total + 40.0 * np.sin(k)) / (one + two)
        amps = {**m.air.amps, "pack 1": first, "pack 2": total - first}
        out.append(replace(m, air=replace(m.air, amps=amps)))
    return out


def test_way_of_a_pack_is_told_by_how_changes_of_load_divide(make_season: Make) -> None:
    """Kirchhoff: 32 for 25 mOhm is 28 % more, whatever the two voltages do to the share."""
    flights = two_packs(make_season(27), lambda k: (25.0, 32.0 if k >= 10 else 25.0))
    history = judge(flights, aircraft=PAIR)
    found = only(history, "source-resistance-rising")
    assert (found.place, found.level, found.since_flight) == ("pack 2", Level.WATCH, "10")
    assert found.change is not None
    assert found.change.rise == pytest.approx(28.0, abs=4.0)
    assert judge(flights[:9], aircraft=PAIR).findings == ()


def test_current_of_the_only_pack_is_that_of_the_whole(make_season: Make) -> None:
    """Nothing but one pack reports a current: the leads are judged by the whole."""
    craft = Aircraft(packs=(Pack(name="pack 1"),), nodes=CRAFT.nodes, bus="bus")
    made = []
    for m in make_season(28, lead={"tail": lambda k: 40.0 if k >= 9 else 0.0}):
        parts = {}
        for part in ("stir", "air"):
            blocks = getattr(m, part)
            parts[part] = replace(blocks, amps={"pack 1": blocks.amps["bus"]})
        made.append(replace(m, features=(), **parts))
    found = only(judge(made, aircraft=craft), "branch-resistance-rising")
    assert (found.place, found.level) == ("tail", Level.WATCH)
    assert found.evidence["measured"] == "apparent, against the whole current"


def test_silence_of_one_unit_is_news_only_where_it_stands_out_alone(make_season: Make) -> None:
    told = {
        ("tail", "silence_s"): lambda k: 1.8 if k == 12 else 0.5 + 0.02 * (k % 5),
        ("left wing", "silence_s"): lambda _k: 0.6,
        ("tail", "silence_p"): lambda _k: 1e-6,
        ("left wing", "silence_p"): lambda _k: 1e-6,
    }
    flights = make_season(29, features=told)
    found = only(judge(flights[:12], aircraft=CRAFT), "contact-intermittent")
    assert (found.place, found.level, found.since_flight) == ("tail", Level.WATCH, "12")
    assert "1.8 s" in found.title
    assert judge(flights[:11], aircraft=CRAFT).findings == ()
    # As long before, or another unit silent in the same flight: nothing of this one's own.
    usual = {**told, ("tail", "silence_s"): lambda k: 1.8 if k in (2, 12) else 0.5}
    assert judge(make_season(29, features=usual)[:12], aircraft=CRAFT).findings == ()
    # As long by chance, for the values hardly moved.
    quiet = {**told, ("tail", "silence_p"): lambda _k: 0.2}
    assert judge(make_season(29, features=quiet)[:12], aircraft=CRAFT).findings == ()
    both = {**told, ("left wing", "silence_s"): lambda k: 2.0 if k == 12 else 0.6}
    assert judge(make_season(29, features=both)[:12], aircraft=CRAFT).findings == ()
