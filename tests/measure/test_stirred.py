"""Stirs of two mirrors, one against the other: both sides of each limit, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.measure.currents.stirred import stirred_multiple, stirred_shares


def stir(mean_a: float, size: int = 8, swing: float = 0.1) -> np.ndarray:
    """Readings that swing about a mean from one to the next."""
    return mean_a * (1.0 + swing * np.where(np.arange(size) % 2, 1.0, -1.0))


def test_a_share_is_the_ratio_of_the_means_where_eight_readings_tell_it() -> None:
    ((share, error),) = stirred_shares([stir(2.0)], [stir(0.5)])
    assert share == pytest.approx(4.0)
    assert 0.0 < error < 0.1
    assert stirred_shares([stir(2.0, 7)], [stir(0.5)]) == []
    assert stirred_shares([stir(2.0)], [stir(0.5, 7)]) == []
    assert stirred_shares([stir(2.0)], [np.zeros(8)]) == []
    # Twice the swing, twice the error, of both together as of independent ones.
    ((_, wide),) = stirred_shares([stir(2.0, swing=0.2)], [stir(0.5, swing=0.2)])
    assert wide == pytest.approx(2.0 * error)


@pytest.mark.parametrize(
    ("shares", "over_a", "found"),
    [
        ([(2.0, 0.05), (2.5, 0.05)], 0.5, (2.0, 0.05)),
        ([(1.9, 0.05), (2.5, 0.05)], 0.5, None),
        ([(2.0, 0.2), (2.5, 0.05)], 0.5, None),  # log 2 is 0.69: 3.5 standard errors
        ([(2.0, 0.13), (2.5, 0.05)], 0.5, (2.0, 0.13)),  # and 5.3
        ([(2.0, 0.05), (2.5, 0.05)], 0.3125, (2.0, 0.05)),
        ([(2.0, 0.05), (2.5, 0.05)], 0.25, None),  # not 0.3 A more
        ([(2.0, 0.05)], 0.5, None),  # of one of two stirs nothing is known
        ([], 0.5, None),
    ],
)
def test_one_draws_a_multiple_where_every_stir_says_so(
    shares: list[tuple[float, float]], over_a: float, found: tuple[float, float] | None
) -> None:
    theirs = [np.full(8, 0.5), np.full(8, 0.5)]
    mine = [np.full(8, 0.5 + over_a), np.full(8, 1.5)]
    assert stirred_multiple(mine, theirs, shares) == found
