"""Shares of copies with their intervals."""

from __future__ import annotations

import pytest
from scipy import stats

from system.shares import Share


@pytest.mark.parametrize(
    ("keep", "copies", "low", "high"),
    # Newcombe, Stat. Med. 17, 1998, table I, method 3 (score without continuity correction); from memory
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_interval_against_published_values(keep: int, copies: int, low: float, high: float) -> None:
    assert Share(keep, copies).interval == pytest.approx((low, high), abs=5e-5)
    assert Share(copies - keep, copies).interval == pytest.approx((1 - high, 1 - low), abs=5e-5)


@pytest.mark.parametrize(("keep", "copies"), [(0, 1000), (920, 1000), (1000, 1000), (3, 7)])
def test_the_interval_against_scipy(keep: int, copies: int) -> None:
    known = stats.binomtest(keep, copies).proportion_ci(0.95, method="wilson")
    assert Share(keep, copies).interval == pytest.approx((known.low, known.high), abs=1e-8)
