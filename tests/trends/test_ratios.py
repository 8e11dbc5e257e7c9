"""Ratios of currents and the rise as a servo warms, from a few stretches made by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, hypot, log, nan, sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.parts import EvidencePart
from telemetry.trends.ratios import compared, current_parts, ramp_part
from telemetry.trends.table import FeatureTable

Make = Callable[..., Any]
Amps = dict[str, Sequence[float]]


def blocks(amps: Amps, block_s: float = 12.0) -> Blocks:
    return Blocks(block_s=block_s, amps={p: np.array(a, dtype=float) for p, a in amps.items()})


@pytest.fixture
def parts_of(make_flight: Make) -> Callable[..., dict[str, EvidencePart]]:
    """Parts by name of "left" against others, from the stretches in the air of each flight."""

    def parts(
        *flights: Amps, others: Sequence[str] = ("right",), **more: Any
    ) -> dict[str, EvidencePart]:
        steps = more.pop("steps_a", {})
        made = [make_flight(air=blocks(amps), steps_a=steps) for amps in flights]
        found = current_parts(FeatureTable(made), "left", others, mirror=more.get("mirror", True))
        return {p.name: p for p in found}

    return parts


class TestLoadRatio:
    def test_of_means_with_the_scatter_of_the_stretches(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        made = {"left": [1.0, 1.0, 3.0, 3.0], "right": [1.0] * 4}
        part = parts_of(made, steps_a={"left": 0.4})["air"]
        assert part.y == pytest.approx([log(2.0)])
        # Relative deviations of +/- 0.5 in four stretches: variance 1/3, of the mean 1/12; the
        # step's is 0.4^2 / 12 over 4 stretches, relative to 2 A.
        assert part.se == pytest.approx([sqrt(1 / 12 + 0.16 / 48 / 4)])
        assert parts_of(made)["air"].se == pytest.approx([sqrt(1 / 12)])

    def test_what_both_do_alike_is_no_scatter(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        part = parts_of({"left": [1.0, 2.0, 3.0, 4.0], "right": [0.5, 1.0, 1.5, 2.0]})["air"]
        assert (part.y[0], part.se[0]) == pytest.approx((log(2.0), 0.0), abs=1e-9)

    def test_others_are_added_up(self, parts_of: Callable[..., dict[str, EvidencePart]]) -> None:
        part = parts_of(
            {"left": [2.0] * 4, "right": [1.0] * 4, "tail": [3.0] * 4},
            others=("right", "tail"),
            mirror=False,
        )["air"]
        assert part.y == pytest.approx([log(0.5)])

    def test_against_nothing_it_is_its_own_logarithm(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        part = parts_of({"left": [1.0, 1.0, 3.0, 3.0]}, others=())["air"]
        assert (part.y[0], part.se[0]) == pytest.approx((log(2.0), sqrt(1 / 12)))
        assert part.design is None

    def test_four_stretches_of_both_at_the_least(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        found = parts_of(
            {"left": [1.0] * 4, "right": [1.0, 1.0, 1.0, nan]},
            {"left": [nan, 2.0, 2.0, 2.0, 2.0], "right": [9.0, 1.0, 1.0, 1.0, 1.0]},
            {"left": [nan] * 4, "right": [1.0] * 4},
        )["air"]
        assert found.at.tolist() == [1]
        assert (found.y[0], found.se[0]) == pytest.approx((log(2.0), 0.0), abs=1e-9)

    def test_no_current_is_taken_below_half_a_step_or_10_ma(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        nothing = {"left": [0.0] * 4, "right": [0.0] * 4}
        assert parts_of({**nothing, "left": [1.0] * 4})["air"].y == pytest.approx([log(100.0)])
        assert parts_of({**nothing, "right": [1.0] * 4})["air"].y == pytest.approx([-log(100.0)])
        coarse = {"left": 0.2}  # half a step: 0.1 A
        assert parts_of({**nothing, "right": [1.0] * 4}, steps_a=coarse)["air"].y == pytest.approx(
            [-log(10.0)]
        )

    def test_none_where_a_place_was_never_measured(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        assert parts_of({"left": [1.0] * 4}) == {}
        assert parts_of({"right": [1.0] * 4}) == {}
        some = {"left": [1.0] * 4, "right": [1.0] * 4}
        assert parts_of(some, others=("right", "tail"), mirror=False) == {}


# Usual scatter against mirror, others, nothing; how far each moves; how unsure that is; power
# of one current in another's, of mirrors and of others.
KNOWN = {
    "stir": ((0.025, 0.04, 0.20), 1.0, 0.1, (0.05, 0.3, None)),
    "air": ((0.015, 0.05, 0.20), 0.6, 0.4, (0.05, 0.4, None)),
    "rest": ((0.02, 0.05, 0.08), 0.5, 0.8, (None, 0.3, None)),
}


class TestCurrentParts:
    @pytest.mark.parametrize(
        ("others", "mirror", "kind"),
        [(("right",), True, 0), (("right",), False, 1), ((), False, 2)],
        ids=["mirror", "others", "nothing"],
    )
    def test_what_is_known_beforehand(
        self, make_flight: Make, others: tuple[str, ...], mirror: bool, kind: int
    ) -> None:
        table = FeatureTable(
            [
                make_flight(
                    {("left", "rest_a"): 0.2, ("right", "rest_a"): 0.2},
                    stir=blocks({"left": [2.0] * 4, "right": [1.0] * 4}),
                    air=blocks({"left": [2.0] * 4, "right": [1.0] * 4}),
                )
            ]
        )
        found = current_parts(table, "left", others, mirror=mirror)
        assert [p.name for p in found] == ["stir", "air", "rest"]
        for p in found:
            sigma, response, doubt, slope_sd = KNOWN[p.name]
            assert (p.sigma, p.response, p.doubt) == (sigma[kind], response, doubt)
            if slope_sd[kind] is not None:
                assert p.slope is not None
                assert p.slope_sd is not None
                assert (p.slope.tolist(), p.slope_sd.tolist()) == ([0.0], [slope_sd[kind]])
            else:
                assert p.design is p.slope is p.slope_sd is None

    def test_the_level_of_other_places_is_a_covariate(
        self, parts_of: Callable[..., dict[str, EvidencePart]]
    ) -> None:
        flights = [
            {"left": [1.0] * 4, "right": [1.0] * 4},
            {"left": [1.0] * 4, "right": [nan] * 4},
            {"left": [1.0] * 4, "right": [4.0] * 4},
        ]
        part = parts_of(*flights, mirror=False)["air"]
        assert part.at.tolist() == [0, 2]
        assert part.design is not None
        # Logarithms 0 and ln 4, against the first.
        assert part.design.tolist() == [[0.0], [pytest.approx(log(4.0))]]


class TestRest:
    def part(
        self, make_flight: Make, rows: list[dict[Any, Any]], *others: str
    ) -> EvidencePart | None:
        table = FeatureTable([make_flight(r, steps_a={"left": 0.1}) for r in rows])
        found = current_parts(table, "left", others, mirror=len(others) == 1)
        return found[0] if found else None

    def test_against_others_added_up(self, make_flight: Make) -> None:
        # Intervals of 3.92 standard errors: 0.02, 0.03 and 0.04 A.
        row = {
            ("left", "rest_a"): (0.4, 0.4 - 1.96 * 0.02, 0.4 + 1.96 * 0.02),
            ("right", "rest_a"): (0.5, 0.5 - 1.96 * 0.03, 0.5 + 1.96 * 0.03),
            ("tail", "rest_a"): (0.3, 0.3 - 1.96 * 0.04, 0.3 + 1.96 * 0.04),
        }
        part = self.part(make_flight, [row], "right", "tail")
        assert part is not None
        assert part.y == pytest.approx([log(0.4 / 0.8)])
        assert part.se == pytest.approx([hypot(0.02 / 0.4, 0.05 / 0.8)])
        alone = self.part(make_flight, [row])
        assert alone is not None
        assert (alone.y[0], alone.se[0]) == pytest.approx((log(0.4), 0.05))

    def test_not_below_half_a_step(self, make_flight: Make) -> None:
        row = {("left", "rest_a"): 0.01, ("right", "rest_a"): 0.02}
        part = self.part(make_flight, [row], "right")
        assert part is not None
        assert part.y == pytest.approx([0.0])
        part = self.part(
            make_flight, [{("left", "rest_a"): 0.01, ("right", "rest_a"): 0.2}], "right"
        )
        assert part is not None
        assert part.y == pytest.approx([log(0.05 / 0.2)])

    def test_none_where_it_was_not_measured(self, make_flight: Make) -> None:
        assert self.part(make_flight, [{("right", "rest_a"): 0.2}], "right") is None
        assert self.part(make_flight, [{("left", "rest_a"): 0.2}], "right") is None
        rows = [{("right", "rest_a"): 0.2}, {("left", "rest_a"): 0.2, ("right", "rest_a"): 0.2}]
        part = self.part(make_flight, rows, "right")
        assert part is not None
        assert part.at.tolist() == [1]


def heated(
    rise: float, n: int = 12, block_s: float = 12.0, weight: float = 2.0
) -> tuple[np.ndarray, np.ndarray]:
    """A current of ``weight`` times another's, plus a relative rise from cold to warm.

    It warms up in 180 s; the rise is relative to the mean of the current itself.
    """
    other = np.where(np.arange(n) % 2, 1.0, 2.0)
    warmth = 1.0 - np.exp(-block_s * (np.arange(n) + 0.5) / 180.0)
    mean = weight * other.mean() / (1.0 - rise * warmth.mean())
    return weight * other + rise * mean * warmth, other


class TestRamp:
    def part(
        self, make_flight: Make, *flights: Amps, mirror: bool = True, **more: Any
    ) -> EvidencePart | None:
        others = [p for p in flights[0] if p != "left"] if flights else []
        block_s = more.get("block_s", 12.0)
        table = FeatureTable([make_flight(air=blocks(amps, block_s)) for amps in flights])
        return ramp_part(table, "left", more.get("others", others), mirror=mirror)

    @pytest.mark.parametrize("block_s", [6.0, 12.0])
    def test_relative_rise_from_cold_to_warm(self, make_flight: Make, block_s: float) -> None:
        own, other = heated(0.3, block_s=block_s)
        part = self.part(make_flight, {"left": own, "right": other}, block_s=block_s)
        assert part is not None
        assert (part.y[0], part.se[0]) == pytest.approx((0.3, 0.0), abs=1e-6)
        assert (part.name, part.sigma) == ("ramp", 0.03)
        against = self.part(make_flight, {"left": own, "right": other}, mirror=False)
        assert against is not None
        assert against.sigma == 0.08

    def test_stretches_keep_their_time_where_one_is_missing(self, make_flight: Make) -> None:
        # The mean is that of the stretches that are left, and scales the rise: 0.3 of the old one.
        own, other = heated(0.3)
        mean = own.mean()
        own[4] = nan
        part = self.part(make_flight, {"left": own, "right": other})
        assert part is not None
        assert part.y == pytest.approx([0.3 * mean / np.nanmean(own)], rel=1e-6)

    def test_its_error_is_that_of_least_squares(self, make_flight: Make) -> None:
        own, other = heated(0.3)
        own = own + 0.1 * np.array([1, -1, 0, 0, 2, -1, 0, -1, 1, 0, -2, 1])
        part = self.part(make_flight, {"left": own, "right": other})
        assert part is not None
        # What is left of the warmth once the other columns explain it (Frisch and Waugh).
        warmth = -np.expm1(-12.0 * (np.arange(12) + 0.5) / 180.0) * own.mean()
        others = np.stack([np.ones(12), other], axis=1)
        rest, y = (x - others @ np.linalg.lstsq(others, x, rcond=None)[0] for x in (warmth, own))
        slope = rest @ y / (rest @ rest)
        left = y - slope * rest
        assert part.y == pytest.approx([slope])
        assert part.se == pytest.approx([sqrt(left @ left / (12 - 3) / (rest @ rest))])

    @pytest.mark.parametrize(("n", "told"), [(8, False), (9, True)])
    def test_three_stretches_for_each_unknown(self, make_flight: Make, n: int, told: bool) -> None:
        # Level, warmth and one other place: nine.
        own, other = heated(0.2, n)
        assert (self.part(make_flight, {"left": own, "right": other}) is not None) is told

    @pytest.mark.parametrize(("n", "told"), [(11, False), (12, True)])
    def test_a_further_place_is_a_further_unknown(
        self, make_flight: Make, n: int, told: bool
    ) -> None:
        own, other = heated(0.2, n)
        tail = np.arange(n) % 3
        found = self.part(make_flight, {"left": own + tail, "right": other, "tail": tail})
        assert (found is not None) is told

    def test_flights_that_tell_nothing_are_left_out(self, make_flight: Make) -> None:
        own, other = heated(0.2)
        nothing = {"left": np.full(12, 0.01), "right": other}
        alike = {"left": own, "right": np.ones(12)}  # the other did not move: no telling apart
        sound = {"left": own, "right": other}
        part = self.part(make_flight, nothing, alike, sound)
        assert part is not None
        assert part.at.tolist() == [2]
        assert self.part(make_flight, nothing) is None
        table = FeatureTable([make_flight(), make_flight(air=blocks(sound))])
        part = ramp_part(table, "left", ["right"], mirror=True)
        assert part is not None
        assert part.at.tolist() == [1]

    @pytest.mark.parametrize("tail", [False, True])
    def test_a_mirror_that_falls_silent_heats_nobody(self, make_flight: Make, tail: bool) -> None:
        """Both wings work alike until the right one stops, of 40 stretches at the tenth."""
        rng = np.random.default_rng(4)
        work = 1.0 + rng.gamma(2.0, 0.3, 40)
        silent = np.where(np.arange(40) < 10, work, 0.01)
        amps = {"left": 1.02 * work, "right": silent}
        if tail:
            amps["tail"] = 0.5 * work + 0.05 * rng.standard_normal(40)
        assert self.part(make_flight, amps) is None
        both_rest = np.where(np.arange(40) < 20, work, 0.1 * work)  # a glider that found lift
        found = self.part(make_flight, {"left": both_rest, "right": 1.1 * both_rest})
        assert found is not None

    def test_10_ma_are_no_current_to_rise(self, make_flight: Make) -> None:
        own, other = heated(0.2)
        small = own * 0.0101 / own.mean()
        assert self.part(make_flight, {"left": small, "right": other}) is not None

    def test_none_without_its_own_current_or_any_other(self, make_flight: Make) -> None:
        own, other = heated(0.2)
        assert self.part(make_flight, {"left": own, "right": other}, others=[]) is None
        assert self.part(make_flight, {"left": own, "right": other}, others=["tail"]) is None
        assert self.part(make_flight, {"tail": own, "right": other}) is None
        # A place that was never measured does not take the others away.
        found = self.part(make_flight, {"left": own, "right": other}, others=["tail", "right"])
        assert found is not None


class TestCompared:
    LOADS = ("left wing", "right wing", "tail")

    def rows(self, m: Measures, *loads: str) -> dict[tuple[str, str], tuple[float, ...]]:
        out = {}
        for x in compared(m, loads or self.LOADS, Aircraft()):
            assert x.value is not None
            assert x.low is not None
            assert x.high is not None
            out[x.place, x.feature] = (x.value, x.low, x.high)
        return out

    def test_ratio_and_share_with_their_intervals(self, make_flight: Make) -> None:
        amps = {"left wing": [1.0, 1.0, 3.0, 3.0], "right wing": [1.0] * 4, "tail": [1.0] * 4}
        rows = self.rows(make_flight(stir=blocks(amps)))
        reach = 1.96 * sqrt(1 / 12)
        assert rows["left wing", "stir_mirror_ratio"] == pytest.approx(
            (2.0, 2.0 * exp(-reach), 2.0 * exp(reach))
        )
        assert rows["right wing", "stir_mirror_ratio"][0] == pytest.approx(0.5)
        # 2 A of 4: half; the ends by the logarithm of the odds.
        assert rows["left wing", "stir_share"] == pytest.approx(
            (0.5, 1 / (1 + exp(reach)), 1 / (1 + exp(-reach)))
        )
        assert rows["tail", "stir_share"][0] == pytest.approx(0.25)
        assert len(rows) == 5  # the tail has no mirror; nothing was measured in the air

    def test_in_the_air_too_and_as_it_warms(self, make_flight: Make) -> None:
        own, other = heated(0.3)
        m = make_flight(air=blocks({"left wing": own, "right wing": other}))
        found = compared(m, ("left wing", "right wing"), Aircraft())
        by_name = {x.feature: x for x in found if x.place == "left wing"}
        assert set(by_name) == {"air_mirror_ratio", "air_share", "ramp_pct"}
        ramp = by_name["ramp_pct"]
        assert (ramp.value, ramp.low, ramp.high) == pytest.approx((30.0, 30.0, 30.0), abs=1e-4)
        assert (ramp.unit, by_name["air_share"].unit) == ("%", "")

    def test_interval_of_the_rise(self, make_flight: Make) -> None:
        own, other = heated(0.3)
        own = own + 0.1 * np.array([1, -1, 0, 0, 2, -1, 0, -1, 1, 0, -2, 1])
        m = make_flight(air=blocks({"left wing": own, "right wing": other}))
        part = ramp_part(FeatureTable([m]), "left wing", ["right wing"], mirror=True)
        assert part is not None
        found = self.rows(m, "left wing", "right wing")["left wing", "ramp_pct"]
        reach = 1.96 * part.se[0]
        assert found == pytest.approx(
            tuple(100 * x for x in (part.y[0], part.y[0] - reach, part.y[0] + reach))
        )

    def test_nothing_of_too_few_stretches_or_of_one_place(self, make_flight: Make) -> None:
        few = make_flight(stir=blocks({"left wing": [1.0] * 3, "right wing": [1.0] * 3}))
        assert self.rows(few) == {}
        alone = make_flight(stir=blocks({"left wing": [1.0] * 4}))
        assert self.rows(alone, "left wing") == {}
