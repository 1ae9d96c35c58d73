"""Shares from field counts, against a published example and against scipy."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from kb_tools.numbers.records import beta_below, beta_quantile, share_interval

# A. Gelman et al., Bayesian Data Analysis, 3rd edition, 2.4 (data and answers seen in a stored copy of the
# source): 437 girls among 980 births. Prior mean, prior size, printed mean or median, printed 95 % interval.
GIRLS, BIRTHS = 437, 980
PUBLISHED = [
    (0.5, 2, 0.446, (0.415, 0.477)),
    (0.485, 20, 0.447, (0.416, 0.478)),
    (0.485, 100, 0.450, (0.420, 0.479)),
    (0.485, 200, 0.453, (0.424, 0.481)),
]


@pytest.mark.parametrize(("mean", "size", "printed", "limits"), PUBLISHED)
def test_published_example(mean: float, size: float, printed: float, limits: tuple[float, float]) -> None:
    """The share of two causes with a prior of some size has the printed mean, median and limits."""
    found, low, high = share_interval([GIRLS, BIRTHS - GIRLS], [mean, 1 - mean], size, level=0.95)[0]
    a, b = GIRLS + mean * size, BIRTHS - GIRLS + (1 - mean) * size
    assert found == pytest.approx(printed, abs=0.0006)
    assert beta_quantile(0.5, a, b) == pytest.approx(printed, abs=0.0006)
    assert (low, high) == pytest.approx(limits, abs=0.0006)


def test_published_spread() -> None:
    """The posterior of the uniform prior is Beta(438, 544), whose printed deviation is .016 (same source)."""
    _, low, high = share_interval([GIRLS, BIRTHS - GIRLS], [1, 1], 2, level=0.6827)[0]
    assert (high - low) / 2 == pytest.approx(0.016, abs=0.0005)


_SIZES = st.floats(0.01, 5000)


@given(st.floats(0.001, 0.999), _SIZES, _SIZES)
def test_distribution_against_scipy(x: float, a: float, b: float) -> None:
    """The incomplete beta function is that of a general reference library (scipy)."""
    assert beta_below(x, a, b) == pytest.approx(float(stats.beta.cdf(x, a, b)), abs=1e-9)


@given(st.sampled_from([0.05, 0.5, 0.95]), _SIZES, _SIZES)
def test_quantile_against_scipy(chance: float, a: float, b: float) -> None:
    """The limits of an interval are those of a general reference library (scipy)."""
    assert beta_quantile(chance, a, b) == pytest.approx(float(stats.beta.ppf(chance, a, b)), abs=1e-8)


@given(st.lists(st.tuples(st.integers(0, 200), st.integers(0, 50)), min_size=1, max_size=12), st.floats(0.5, 100))
def test_shares_are_shares(rows: list[tuple[int, int]], strength: float) -> None:
    """Means sum to 1 and are what the formula says, limits hold the bulk, and the order of causes does not matter."""
    counts, prior = [row[0] for row in rows], [row[1] for row in rows]
    found = share_interval(counts, prior, strength)
    assert sum(mean for mean, _, _ in found) == pytest.approx(1)
    assert all(0 <= low <= high <= 1 for _, low, high in found)
    turned = share_interval(counts[::-1], prior[::-1], strength)[::-1]
    for one, other in zip(found, turned, strict=True):
        assert one == pytest.approx(other, abs=1e-12)


@given(st.integers(0, 60), st.integers(1, 60), st.floats(1, 50))
def test_interval_covers_its_level(hits: int, misses: int, strength: float) -> None:
    """By scipy, as much of the share's distribution lies inside the interval as is said."""
    _, low, high = share_interval([hits, misses], [1, 1], strength)[0]
    a, b = hits + strength / 2, misses + strength / 2
    assert stats.beta.cdf(high, a, b) - stats.beta.cdf(low, a, b) == pytest.approx(0.9, abs=1e-6)


def test_without_prior_and_without_counts() -> None:
    """A cause that neither the prior nor a count knows stays at nothing; all in one cause is certain."""
    assert share_interval([0, 5], [0, 1], 10) == [(0.0, 0.0, 0.0), (1.0, 1.0, 1.0)]
    assert share_interval([], [], 3) == []


@pytest.mark.parametrize(
    ("counts", "prior", "strength"),
    [([1], [1, 2], 3.0), ([-1, 2], [1, 1], 3.0), ([0, 0], [1, 1], 0.0), ([1, 1], [1, 1], -1.0)],
)
def test_refused(counts: list[float], prior: list[float], strength: float) -> None:
    """What is no count, no share or no strength is refused."""
    with pytest.raises(ValueError, match=r"\w"):
        share_interval(counts, prior, strength)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_level_refused(level: float) -> None:
    """A level of nothing or of everything is refused."""
    with pytest.raises(ValueError, match="level"):
        share_interval([1, 2], [1, 1], 2, level)
