"""Random numbers by what they are for: the hash is the published one, and its numbers are good."""

import numpy as np

from analysis.decisions import draws

# SplitMix64 from the seed 1234567: the first five outputs as printed by many implementations (FROM
# MEMORY, recomputed with Python's integers below).
SEED = 1234567
PUBLISHED = [6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431,
             16408922859458223821]  # fmt: skip


def in_python(seed: int, count: int) -> list[int]:
    """SplitMix64 in whole numbers of any size."""
    mask, out = 2**64 - 1, []
    for _ in range(count):
        seed = seed + 0x9E3779B97F4A7C15 & mask
        x = (seed ^ seed >> 30) * 0xBF58476D1CE4E5B9 & mask
        x = (x ^ x >> 27) * 0x94D049BB133111EB & mask
        out.append(x ^ x >> 31)
    return out


def ours(seed: int, count: int) -> np.ndarray:
    return np.array([draws.number_in(np.uint64(seed), np.uint64(k)) for k in range(count)], "u8")


def test_numbers_are_those_of_the_published_generator():
    assert in_python(SEED, 5) == PUBLISHED
    assert ours(SEED, 5).tolist() == PUBLISHED
    assert ours(2**64 - 5, 20).tolist() == in_python(2**64 - 5, 20)


def test_names_have_the_same_number_on_every_machine():
    assert draws.code_of("sew") == 0xCC9774D2D233872F
    assert draws.code_of("sew") != draws.code_of("sew ")


def test_the_normal_quantile_is_right_far_into_the_tails():
    from scipy.special import ndtri

    p = np.concatenate([np.geomspace(1e-300, 0.5, 2000), 1 - np.geomspace(1e-15, 0.5, 2000)])
    found = [draws.normal_of(x) for x in p]
    np.testing.assert_allclose(found, ndtri(p), rtol=1.2e-9)


def test_draws_of_runs_lines_batches_and_pieces_are_even_and_unrelated():
    """Uniform by Kolmogorov and Smirnov, and without correlation between neighbours in each of the
    places that a draw is named by, and between the two halves of one number."""
    from scipy.stats import kstest

    def bits(run, line, batch, piece):
        start = np.uint64(draws.stream(np.uint64(7), np.uint64(run)))
        start = np.uint64(draws.stream(start, np.uint64(line)))
        start = np.uint64(draws.stream(start, np.uint64(batch)))
        return np.uint64(draws.number_in(start, np.uint64(piece)))

    grid = [(r, n, b, p) for r in range(8) for n in range(8) for b in range(8) for p in range(8)]
    numbers = np.array([bits(*place) for place in grid], "u8").reshape(8, 8, 8, 8)
    upper = (numbers >> np.uint64(32)) / 2**32
    lower = (numbers & np.uint64(2**32 - 1)) / 2**32
    assert kstest(upper.ravel(), "uniform").pvalue > 1e-4
    assert kstest(lower.ravel(), "uniform").pvalue > 1e-4
    pairs = [(upper.ravel(), lower.ravel())]
    for axis in range(4):
        here = np.moveaxis(upper, axis, 0)
        pairs.append((here[:-1].ravel(), here[1:].ravel()))
    for one, other in pairs:
        assert abs(np.corrcoef(one, other)[0, 1]) * np.sqrt(one.size) < 4


def test_a_weeks_demand_is_poisson_and_grows_with_its_chance():
    from scipy.stats import poisson

    from analysis.decisions.shelf import pieces_asked

    for mean in (0.5, 8.0, 36.0, 150.0):
        p = np.linspace(0.001, 0.999, 97)
        asked = [pieces_asked(mean, 1.0, x) for x in p]
        np.testing.assert_array_equal(asked, poisson.ppf(p, mean))
    wide = [pieces_asked(400.0, 3.0, x) for x in np.linspace(0.0005, 0.9995, 1000)]
    assert abs(np.mean(wide) - 400) < 1
    assert abs(np.var(wide) / 1200 - 1) < 0.02


def test_the_quick_exponential_is_right_where_it_is_used():
    x = np.linspace(-4, 4, 2001)
    np.testing.assert_allclose([draws.small_exp(each) for each in x], np.exp(x), rtol=2e-10)
