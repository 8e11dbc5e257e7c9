"""Scatter learnt from other aircraft: whose it is, for which feature, for how much it counts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.results import FeatureScatter, Fleet
from telemetry.trends.fleet import OwnScatter, fleet_of, own_scatter, with_fleet
from telemetry.trends.parts import EvidencePart


def part(y: np.ndarray, **more: object) -> EvidencePart:
    plain: dict[str, object] = {"name": "stir", "sigma": 0.05, "se": np.zeros(y.size)}
    return EvidencePart(at=np.arange(y.size), y=y, **{**plain, **more})  # type: ignore[arg-type]


def test_scatter_about_the_level_over_the_usual_one() -> None:
    y = np.random.default_rng(1).normal(3.0, 0.1, 40)
    found = own_scatter(part(y, sigma=0.2))
    assert found is not None
    assert found[:3] == ("stir", 0.2, 4.0)
    # The variance by numpy, whatever was thought usual: no value is so odd that it is cut.
    assert found.ratio == pytest.approx(y.var(ddof=1) / 0.2**2, rel=0.02)
    assert found.degrees == 39


def test_a_lasting_change_is_no_scatter() -> None:
    y = np.random.default_rng(2).normal(0.0, 0.05, 40)
    shifted = np.where(np.arange(40) < 25, y, y + 1.0)
    plain, found = own_scatter(part(y)), own_scatter(part(shifted), 25)
    assert plain is not None
    assert found is not None
    assert found.ratio == pytest.approx(plain.ratio, rel=0.5)
    # Of 25 flights before it and 15 since.
    assert found.degrees == 24


def test_few_flights_and_a_scatter_held_for_known_tell_nothing() -> None:
    y = np.arange(6.0)
    assert own_scatter(part(y)) is not None
    assert own_scatter(part(y[:5])) is None
    assert own_scatter(part(y), 3) is None
    assert own_scatter(part(np.arange(8.0)), 6) is not None
    assert own_scatter(replace(part(y), known=True)) is None


def test_an_odd_flight_counts_no_more_than_where_a_chart_learns_from_it() -> None:
    y = np.random.default_rng(3).normal(0.0, 0.05, 25)
    plain, found = own_scatter(part(y)), own_scatter(part(np.where(np.arange(25) == 9, y + 5.0, y)))
    assert plain is not None
    assert found is not None
    # A hundred deviations off; cut at three it counts for nine flights, not for 10,000.
    assert found.ratio < plain.ratio * (1.0 + 9.0 / 13.0) * 1.1


def scatters(*ratios: float, feature: str = "stir", usual: float = 0.05) -> list[OwnScatter]:
    return [OwnScatter(feature, usual, 4.0, ratio, 24.0) for ratio in ratios]


def test_one_other_aircraft_tells_nothing() -> None:
    assert fleet_of({}, 0) is None
    assert fleet_of({"wren": scatters(2.0, 2.0, 2.0)}, 25) is None


def test_each_feature_takes_two_aircraft_that_have_it() -> None:
    own = {
        "wren": [*scatters(4.0, 4.0), *scatters(1.0, usual=2.0)],
        "tern": scatters(4.0),
        "kite": scatters(4.0, feature="rest"),
    }
    found = fleet_of(own, 75)
    assert found is not None
    assert (found.aircraft, found.flights) == (("wren", "tern", "kite"), 75)
    (told,) = found.features
    assert (told.feature, told.usual, told.usual_flights, told.aircraft) == ("stir", 0.05, 4.0, 2)
    # Four times the variance is twice the scatter; what is usual has its voice in so few.
    assert 1.5 < told.scatter / told.usual < 2.2


def test_parts_take_what_is_told_of_their_kind() -> None:
    told = FeatureScatter(
        feature="stir", usual=0.05, usual_flights=4.0, scatter=0.1, flights=9.0, aircraft=3
    )
    fleet = Fleet(aircraft=("a", "b", "c"), flights=75, features=(told,))
    own = part(np.arange(4.0), se=np.full(4, 0.05))
    others = [
        replace(own, name="rest"),
        replace(own, sigma=0.02),
        replace(own, weight=6.0),
        replace(own, known=True),
    ]
    first, *rest = with_fleet([own, *others], fleet)
    assert (first.sigma, first.weight) == (0.1, 9.0)
    # How much surer one value is than another does not change.
    assert np.allclose(first.spread, own.spread)
    assert all(a is b for a, b in zip(rest, others, strict=True))
    assert with_fleet([own], None) == [own]
