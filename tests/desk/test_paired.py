"""The tests and intervals of `compare` against published worked examples.  Their figures are quoted from memory."""

import itertools

import numpy as np
import pytest
from coilcount.desk import paired
from scipy.stats import poisson

# R. A. Fisher, The Design of Experiments (1935), section 21: Darwin's fifteen pairs of maize, in eighths of an inch.
MAIZE = (49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48)


def test_mcnemar_of_21_patients():
    """M. Fagerland, S. Lydersen and P. Laake, BMC Medical Research Methodology 13, 91 (2013): 1 against 7, p 0.0703."""
    assert paired.mcnemar(1, 7) == pytest.approx(0.0703, abs=5e-5)


def test_mcnemar_without_a_pass_found_by_one_alone():
    assert paired.mcnemar(0, 0) == 1.0
    assert paired.sign_flip([]) == paired.sign_flip([0, 0]) == 1.0


def test_the_difference_of_two_approvals():
    """A. Agresti, Categorical Data Analysis, section 10.1: 150 and 86 of 1600 change; -0.04 +- 1.96 (0.0095)."""
    value, low, high = paired.difference_of_shares(150, 86, 1600)
    assert value == pytest.approx(-0.04)
    assert (low, high) == pytest.approx((-0.04 - 1.96 * 0.0095, -0.04 + 1.96 * 0.0095), abs=2e-4)


def test_fishers_randomisation_of_darwins_maize():
    """Fisher counts 863 of 32,768 choices of signs with a sum of 314 or more, so twice that in both directions."""
    assert sum(MAIZE) == 314
    assert paired.sign_flip(MAIZE) == pytest.approx(2 * 863 / 2**15)


def test_one_pass_for_each_object_makes_the_randomisation_mcnemar():
    assert paired.sign_flip([1] * 9 + [-1] * 2 + [0] * 30) == pytest.approx(paired.mcnemar(2, 9))


def test_the_interval_of_a_median_has_the_ranks_of_conovers_table():
    """n = 15: ranks 4 and 12."""
    ordered = sorted(MAIZE)
    assert paired.median_interval(MAIZE) == (24, ordered[3], ordered[11])
    assert paired.median_interval(range(5)) is None
    assert paired.median_interval(range(6)) == (2.5, 0, 5)


def test_students_hours_of_sleep():
    """Student, Biometrika 6, 1 (1908): ten patients, two drugs; mean 1.58 h, t 4.06, p 0.0028."""
    hours = (1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4)
    assert paired.mean_test(hours) == pytest.approx(0.002833, abs=1e-6)
    assert paired.mean_interval(hours) == pytest.approx((1.58, 0.7001142, 2.4598858), abs=1e-6)
    assert paired.mean_test([0.0, 0.0, 0.0]) == 1.0


def test_rate_ratio_of_the_fluoroscopies():
    """41 cases in 28,010 years against 15 in 19,017 (J. Boice and R. Monson, 1977): 1.86, exact 1.0057 to 3.6093.

    The interval is printed by Stata's manual for `iri 41 15 28010 19017`.
    """
    found = paired.rate_ratio(15, 19017, 41, 28010)
    assert found == pytest.approx((1.855759, 1.005684, 3.6093), abs=5e-5)
    assert paired.rate_test(15, 19017, 41, 28010) < 0.05


@pytest.mark.parametrize("counts", list(itertools.product((0, 1, 6, 20), repeat=2)))
def test_interval_and_test_of_two_rates_agree(counts):
    count_a, count_b = counts
    _, low, high = paired.rate_ratio(count_a, 10.0, count_b, 25.0)
    inside = low <= 1 and (high is None or high >= 1)
    assert inside == (paired.rate_test(count_a, 10.0, count_b, 25.0) > 0.05)


def test_no_false_alarm_divides_by_nothing():
    assert paired.rate_ratio(0, 10.0, 0, 10.0) == (None, 0.0, None)
    assert paired.rate_test(0, 10.0, 0, 10.0) == 1.0
    assert paired.ratio_of_common(0, 0, 0) == (None, None, None)
    assert paired.ratio_of_common(4, 0, 0) == (1.0, 1.0, 1.0)
    assert paired.visible_ratio(0, 10.0, 10.0) is None
    assert paired.visible_difference(0, 0, 0) is None


def test_holm_as_in_his_paper():
    """The smallest of three p values is multiplied by 3, the next by 2, and none falls below the one before."""
    assert paired.holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    assert paired.holm([]) == []


def test_a_visible_difference_is_shown_in_eight_of_ten_simulated_comparisons():
    rng = np.random.default_rng(5)
    difference = paired.visible_difference(4, 4, 80)
    rows = rng.multinomial(80, [4 / 80, 4 / 80 + difference, 1 - 8 / 80 - difference], size=1000)
    shown = np.mean([paired.mcnemar(int(a), int(b)) <= 0.05 for a, b, _ in rows])
    assert shown == pytest.approx(0.8, abs=0.04)  # three standard errors of 1000 draws


def test_a_visible_ratio_is_shown_in_eight_of_ten_simulated_comparisons():
    rng = np.random.default_rng(6)
    ratio = paired.visible_ratio(20, 20.0, 20.0)
    draws = zip(
        poisson.rvs(10, size=1000, random_state=rng), poisson.rvs(10 * ratio, size=1000, random_state=rng), strict=True
    )
    shown = np.mean([paired.rate_test(int(a), 20.0, int(b), 20.0) <= 0.05 for a, b in draws])
    assert shown == pytest.approx(0.8, abs=0.04)
