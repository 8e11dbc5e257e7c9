"""Evidence for sources that take turns, against the density of scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from telemetry.numerics.statistics.turns import DIFFUSE, Series, log_evidence, log_odds_of_turns


def series(y: np.ndarray, sizes: tuple[float, ...] = (1.0, 5.0)) -> Series:
    n = y.size
    return Series(
        y=y,
        spread=np.linspace(1.0, 1.5, n),
        sigma=0.1,
        weight=4.0,
        common=0.04 * np.minimum.outer(np.arange(n), np.arange(n)),
        sizes=sizes,
    )


def test_evidence_is_the_density_of_a_joint_student_t() -> None:
    """scipy.stats.multivariate_t: with its own constant, which is the same for all models."""
    y = np.random.default_rng(5).standard_normal(9) * 0.1
    one = series(y)
    source = np.arange(9) % 3
    more = 4.0 * (source[:, None] == source[None, :])

    def density(extra: np.ndarray | float) -> float:
        shape = 0.01 * (np.diag(one.spread**2) + one.common + DIFFUSE + extra)
        return float(stats.multivariate_t(np.zeros(9), shape, df=4).logpdf(y - y.mean()))

    found = log_evidence(one, more) - log_evidence(one)
    assert found == pytest.approx(density(more) - density(0.0), abs=1e-6)


def test_the_level_is_no_evidence() -> None:
    y = np.random.default_rng(6).standard_normal(12) * 0.1
    assert log_evidence(series(y)) == pytest.approx(log_evidence(series(y + 7.0)), abs=1e-6)


def test_turns_are_told_and_their_absence_as_well() -> None:
    source = np.arange(18) % 3
    plain = 0.1 * np.random.default_rng(7).standard_normal(18)
    begins = np.array([0, 9])
    # Not to show it is half of what is thought beforehand.
    assert -np.log(2.0) <= log_odds_of_turns(series(plain), source, begins) < 0.0
    apart = plain + 0.5 * (source == 1)
    assert log_odds_of_turns(series(apart), source, begins) > 8.0
    # One that is different only of late, which the whole would hide.
    late = plain + 0.5 * ((source == 1) & (np.arange(18) >= 9))
    whole = log_odds_of_turns(series(late), source, np.array([0]))
    assert log_odds_of_turns(series(late), source, begins) > whole


def test_a_beginning_that_is_none_of_its_own_counts_once() -> None:
    source = np.arange(18) % 3
    y = series(0.1 * np.random.default_rng(8).standard_normal(18))
    found = log_odds_of_turns(y, source, np.array([0, 0, 9]))
    assert found == pytest.approx(log_odds_of_turns(y, source, np.array([0, 9])))
