"""Servos that heat: odds against drawing more cold, limits and evidence, by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.aircraft_history import JudgedAcross
from telemetry.checks.draft import FindingDraft
from telemetry.checks.servos.heating import judge_heating, odds_of_heat
from telemetry.results import Level
from telemetry.trends.parts import EvidencePart

Make = Callable[..., Any]

N, SINCE = 8, 4
# Deviation of the mean of three flights or more, against the mean of four: scatter 0.1.
VARIANCE = 0.1**2 * (1 + 1 / 4) / 3


def part(name: str, moved: float, *, response: float = 1.0, before: int = SINCE) -> EvidencePart:
    """At 0 until the change and at ``moved`` since; its scatter of 0.1 is known for sure."""
    at = np.arange(SINCE - before, N)
    return EvidencePart(
        name=name,
        at=at,
        y=np.where(at >= SINCE, moved, 0.0),
        se=np.zeros(at.size),
        sigma=0.1,
        weight=1e9,
        response=response,
    )


# Odds. The rise is 0.2; if the place drew more cold as well, that would be 0.35 of it over the
# response of the air.


@pytest.mark.parametrize(
    ("parts", "odds"),
    [
        # As far as heating has it, not at all as cold has it: 0.2^2.
        pytest.param([part("ramp", 0.2)], 0.04, id="the ramp rises"),
        pytest.param([part("ramp", 0.0)], -0.04, id="it does not"),
        pytest.param([part("stir", 0.0)], 0.07**2, id="the stir does not: 0.35 of 0.2"),
        pytest.param([part("stir", 0.07)], -(0.07**2), id="the stir does"),
        pytest.param([part("rest", 0.0, response=0.5)], 0.035**2, id="by its response"),
        pytest.param(
            [part("air", 9.9, response=0.7), part("stir", 0.0)], 0.1**2, id="by that of the air"
        ),
        pytest.param([part("air", 9.9)], 0.0, id="the air says the same of both"),
        pytest.param([part("ramp", 0.2), part("stir", 0.0)], 0.04 + 0.07**2, id="together"),
        pytest.param([part("ramp", 0.2, before=1)], 0.0, id="no baseline"),
    ],
)
def test_odds(
    make_flight: Make, make_case: Make, make_judgement: Make, parts: list[EvidencePart], odds: float
) -> None:
    case = make_case([make_flight()] * N)
    j = make_judgement(N, SINCE, now=0.2)
    assert odds_of_heat(case, parts, j) == pytest.approx(odds / (2 * VARIANCE), abs=1e-6)


def test_odds_count_from_the_first_flight_of_the_baseline(
    make_flight: Make, make_case: Make, make_judgement: Make
) -> None:
    y = part("ramp", 0.2)
    y.y[0] = 50.0
    j = make_judgement(N, SINCE, now=0.2, first=1)
    variance = 0.1**2 * (1 + 1 / 3) / 3
    found = odds_of_heat(make_case([make_flight()] * N), [y], j)
    assert found == pytest.approx(0.04 / (2 * variance), rel=1e-6)


# The finding. Four servos: a rise of 0.0625 is 25 % of one's share.


@pytest.fixture
def judged(
    make_flight: Make, make_case: Make, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[FindingDraft | None, JudgedAcross, dict[str, Any]]]:
    def make(
        j: Any,
        ramp: EvidencePart | None,
        *parts: EvidencePart,
        sound: tuple[str, ...] = ("right wing", "tail"),
        rising: bool = False,
        servos: int | None = 4,
    ) -> tuple[FindingDraft | None, JudgedAcross, dict[str, Any]]:
        seen: dict[str, Any] = {}

        def ramp_of(_table: Any, place: str, others: Any, *, mirror: bool) -> EvidencePart | None:
            seen.update(place=place, others=others, mirror=mirror)
            return ramp

        def told(place: str, **more: Any) -> Any:
            seen.update(more, of=place)
            return j

        monkeypatch.setattr("telemetry.checks.servos.heating.ramp_part", ramp_of)
        flights = [make_flight(servos={"left wing": servos} if servos else {})] * N
        case = make_case(flights, told=told, aircraft=Aircraft(nodes=(Node(name="left wing"),)))
        found = JudgedAcross()
        return judge_heating(case, "left wing", parts, sound, rising, found), found, seen

    return make


def test_what_is_judged(judged: Make) -> None:
    air, stir = part("air", 0.0, response=0.6), part("stir", 0.0)
    ramp = part("ramp", 0.2)
    finding, found, seen = judged(None, ramp, air, stir)
    assert finding is None
    assert found.trends == []
    assert (seen["place"], seen["others"], seen["mirror"]) == (
        "left wing",
        ("right wing", "tail"),
        True,
    )
    first, second = seen["parts"]
    assert first is ramp
    assert (second.name, second.response, second.doubt) == ("air", 0.35, 0.6)
    assert judged(None, ramp, sound=("tail",))[2]["mirror"] is False
    assert judged(None, ramp, sound=())[2] == {}
    assert judged(None, None)[2].keys() == {"place", "others", "mirror"}


@pytest.mark.parametrize(
    ("now", "sure", "level"),
    [
        (0.062, True, None),
        (0.0625, True, Level.WATCH),
        (0.1499, True, Level.WATCH),
        (0.15, True, Level.GROUND),
        (0.15, False, Level.WATCH),
    ],
    ids=["24.8 %", "25 %", "59.96 %", "60 %", "60 %, not sure"],
)
def test_limits(
    judged: Make, make_judgement: Make, now: float, sure: bool, level: Level | None
) -> None:
    finding, found, _ = judged(make_judgement(N, SINCE, now=now, sure=sure), part("ramp", now))
    (trend,) = found.trends
    assert (trend.code, trend.place, trend.unit) == ("servo-heating", "left wing", "%")
    assert (trend.watch, trend.ground) == (25.0, 60.0)
    assert trend.record().value[-1] == pytest.approx(400 * now)
    assert (finding.level if finding else None) == level
    if finding:
        assert finding.change.limit == (None if level is Level.GROUND else 60.0)
        assert finding.change.rise == pytest.approx(400 * now)
        assert finding.evidence["ramp_pct"] == pytest.approx(100 * now)
        assert finding.evidence["servo_share_pct"] == pytest.approx(400 * now)
        assert (finding.evidence["servos"], finding.evidence["servos_known"]) == (4, "yes")
        assert finding.evidence["compared_with"] == "right wing and tail"
        assert f"rises by {100 * now:.0f} %" in finding.title
        assert "assuming" not in finding.title


def test_assumed_servos_are_said(judged: Make, make_judgement: Make) -> None:
    j = make_judgement(N, SINCE, now=0.1)
    finding, _, _ = judged(j, part("ramp", 0.1), servos=None)
    assert finding.evidence["servos_known"] == "assumed"
    assert "assuming 4 servos" in finding.title


def test_nothing_established_nothing_told(judged: Make, make_judgement: Make) -> None:
    finding, found, _ = judged(make_judgement(N, None, now=0.2), part("ramp", 0.2))
    assert finding is None
    assert len(found.trends) == 1


def test_more_in_the_air_alone_is_no_warming(judged: Make, make_judgement: Make) -> None:
    """Its mirror stops in each flight since: what it warms by is known of none of them."""
    ramp = part("ramp", 0.0)
    earlier = replace(ramp, at=ramp.at[:SINCE], y=ramp.y[:SINCE], se=ramp.se[:SINCE])
    j = make_judgement(N, SINCE, now=0.2)
    assert judged(j, earlier, part("air", 0.5))[0] is None


@pytest.mark.parametrize(
    ("odds", "rising", "told"),
    [
        pytest.param(0.1, False, True, id="rather heating"),
        pytest.param(-0.1, False, False, id="rather cold"),
        pytest.param(3.1, True, True, id="clearly heating, though it draws more"),
        pytest.param(2.9, True, False, id="it draws more, and heating is not clear"),
    ],
)
def test_heating_or_drawing_more_cold(
    judged: Make, make_judgement: Make, odds: float, rising: bool, told: bool
) -> None:
    """For a rise of 0.2 the ramp, moved by m, has odds of (m^2 - (m - 0.2)^2) / 2 variances."""
    moved = (2 * VARIANCE * odds + 0.04) / 0.4
    assert abs(moved - 0.2) < 2 * sqrt(VARIANCE)  # near enough for the error to be the known one
    finding, _, _ = judged(make_judgement(N, SINCE, now=0.2), part("ramp", moved), rising=rising)
    assert (finding is not None) is told


def test_a_stir_that_rises_alike_is_no_heating(judged: Make, make_judgement: Make) -> None:
    j = make_judgement(N, SINCE, now=0.2)
    # Odds of the ramp that moved by 0.15 are 2.4; of a stir that moved by 0.35 of 0.2, -0.6.
    assert judged(j, part("ramp", 0.15), part("stir", 0.07))[0] is not None
    # A ramp that moved by 0.05 alone has odds of -2.4.
    assert judged(j, part("ramp", 0.05), part("stir", 0.07))[0] is None
