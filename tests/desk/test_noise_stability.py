"""The deviations of desk/stability.py against published tables, and their intervals against simulated scatter."""

import numpy as np
import pytest
from check_values import ENTRIES, value
from coilcount.desk import stability
from coilcount.desk.confidence import degrees_of_freedom, noise_exponent
from coilcount.physics.noise import PowerLawNoise


def nist_1000() -> np.ndarray:
    """NIST SP 1065, section 12.4: the 1000-point test suite's generator, as fractional frequencies."""
    of = value("nist1000.generator")
    n, found = of["n0"], []
    for _ in range(of["count"]):
        found.append(n / of["mod"])
        n = of["mult"] * n % of["mod"]
    return np.array(found)


DATA = {"nbs9": (lambda: np.array(value("nbs9.freq"), float), (1, 2)), "nist1000": (nist_1000, (1, 10, 100))}
CASES = {
    "nbs9.oadev": "oadev",
    "nbs9.mdev": "mdev",
    "nbs9.ohdev": "hdev",
    "nist1000.adev": "adev",
    "nist1000.oadev": "oadev",
    "nist1000.mdev": "mdev",
    "nist1000.ohdev": "hdev",
}


@pytest.mark.parametrize("entry", CASES)
def test_published_table(entry):
    """NBS Monograph 140 and NIST SP 1065 (Riley 2008), Tables 29 to 31: published; tolerance as printed there."""
    data, factors = DATA[entry.split(".")[0]]
    x = stability.phase(data(), 1.0)
    got = [np.sqrt(getattr(stability, CASES[entry])([x], 1.0, m).variance) for m in factors]
    assert got == pytest.approx(value(entry), rel=ENTRIES[entry]["suggested_rel_tol"])


def test_published_adev_of_nine_points():
    """NIST SP 1065, Tables 29 and 30: ADEV of the NBS Monograph 140 data, m = 1 and 2."""
    x = stability.phase(np.array(value("nbs9.freq"), float), 1.0)
    got = [np.sqrt(stability.adev([x], 1.0, m).variance) for m in (1, 2)]
    assert got == pytest.approx([91.22945, 115.8082], rel=1e-6)


def test_the_published_phases_give_the_table_of_the_frequencies():
    x = np.array(value("nbs9.phase"))
    got = [np.sqrt(stability.oadev([x], 1.0, m).variance) for m in (1, 2)]
    assert got == pytest.approx(value("nbs9.oadev"), rel=1e-6)


@pytest.mark.parametrize("kind", ["adev", "oadev", "mdev", "hdev"])
def test_no_difference_is_taken_across_a_gap(kind):
    """The variance of two segments is the weighted mean of both, for any phase between them."""
    rng = np.random.default_rng(3)
    x = stability.phase(rng.normal(size=400), 0.5)
    one, two = x[:150], x[150:] + 1e6
    of = getattr(stability, kind)
    a, b, both = of([one], 0.5, 4), of([two], 0.5, 4), of([one, two], 0.5, 4)
    (na,), (nb,) = a.counts, b.counts
    assert both.variance == pytest.approx((na * a.variance + nb * b.variance) / (na + nb), rel=1e-9)
    assert both.counts == (na, nb)


@pytest.mark.parametrize("kind", ["oadev", "mdev", "hdev"])
def test_a_lost_reading_removes_only_the_terms_that_need_it(kind):
    """The phase continues over a lost reading, which is nan.  All other terms are unchanged."""
    rng = np.random.default_rng(4)
    x = stability.phase(rng.normal(size=3000), 1.0)
    holes = x.copy()
    holes[[700, 701, 1900]] = np.nan
    whole, left = (getattr(stability, kind)([phases], 1.0, 3) for phases in (x, holes))
    assert 0 < sum(whole.counts) - sum(left.counts) < 40
    assert left.variance == pytest.approx(whole.variance, rel=0.02)


@pytest.mark.parametrize(("alpha", "h"), [(0, "h0"), (-1, "h_minus1"), (-2, "h_minus2")])
def test_the_noise_type_is_recognised(alpha, h):
    """The type of generated noise is found at each tau up to 64 readings.

    White PM, made as white phases, is recognised too.  100 phases are too few to recognise any.
    """
    levels = {"h0": 0.0, "h_minus1": 0.0, "h_minus2": 0.0} | {h: 1e-14}
    y = PowerLawNoise(np.random.default_rng(5), 0.02, **levels).block(2**14)
    x = stability.phase(y, 0.02)
    assert [noise_exponent([x], m) for m in (2, 4, 8, 16, 32, 64)] == [alpha] * 6
    assert noise_exponent([np.random.default_rng(6).normal(size=5000)], 4) == 2
    assert noise_exponent([x[:100]], 4) is None


def _white_fm(m, n):
    """SP 1065, Table 5 (from memory): edf of the overlapping Allan variance of white FM."""
    return (3 * (n - 1) / (2 * m) - 2 * (n - 2) / n) * 4 * m**2 / (4 * m**2 + 5)


def test_degrees_of_freedom_against_the_handbook():
    """Within 10 % of the approximations of SP 1065, Table 5 (from memory), which do not average phases."""
    for m, n in ((4, 200), (16, 400), (32, 1000)):
        assert degrees_of_freedom("oadev", 0, m, n) == pytest.approx(_white_fm(m, n), rel=0.1)
        walk = (n - 2) / m * ((n - 1) ** 2 - 3 * m * (n - 1) + 4 * m**2) / (n - 3) ** 2
        assert degrees_of_freedom("oadev", -2, m, n) == pytest.approx(walk, rel=0.1)


@pytest.mark.parametrize(("alpha", "h"), [(2, None), (0, "h0"), (-1, "h_minus1"), (-2, "h_minus2")])
@pytest.mark.parametrize(("kind", "m"), [("adev", 4), ("oadev", 8), ("mdev", 8), ("hdev", 5)])
def test_degrees_of_freedom_against_the_scatter_of_many_runs(alpha, h, kind, m):
    """They agree with 2 mean^2 / variance of 1500 runs, which has a standard error of about 4 %."""
    rng = np.random.default_rng(8)
    runs, n = 1500, 128
    if h is None:
        phases = rng.normal(size=(runs, n))
    else:
        levels = {"h0": 0.0, "h_minus1": 0.0, "h_minus2": 0.0} | {h: 1.0}
        phases = [stability.phase(PowerLawNoise(rng, 1.0, **levels).block(n - 1), 1.0) for _ in range(runs)]
    found = np.array([getattr(stability, kind)([x], 1.0, m).variance for x in phases])
    assert degrees_of_freedom(kind, alpha, m, n) == pytest.approx(2 * found.mean() ** 2 / found.var(), rel=0.15)


def test_a_table_row_has_its_interval():
    rng = np.random.default_rng(9)
    x = stability.phase(1e-6 * rng.normal(size=1000), 0.02)
    rows = stability.table([x[:600], x[600:]], 0.02)
    assert [row.tau_s for row in rows[:3]] == pytest.approx([0.02, 0.04, 0.08])
    assert rows[0].noise == "white FM"
    first = rows[0].oadev
    assert first.low < 1e-6 < first.high
    assert first.high / first.low < 1.2
    assert rows[-1].oadev.high / rows[-1].oadev.low > 2
