"""The intervals of shares and rates, against published values."""

import pytest
from coilcount.desk.rates import counts_to_know, minutes_to_know, rate_interval, share_interval

# R. G. Newcombe, Statistics in Medicine 17, 857 (1998), table I, method 3 (Wilson's score method).  Quoted from memory.
NEWCOMBE = {(81, 263): (0.2553, 0.3662), (15, 148): (0.0624, 0.1605), (0, 20): (0, 0.1611), (1, 29): (0.0061, 0.1718)}
# F. Garwood (1936); the same values stand in E. S. Pearson and H. O. Hartley, Biometrika Tables for Statisticians 1,
# table 40, and in K. Ulm, American Journal of Epidemiology 131, 373 (1990).  Quoted from memory.
GARWOOD = {0: (0, 3.69), 1: (0.0253, 5.57), 2: (0.242, 7.22), 5: (1.62, 11.67), 10: (4.80, 18.39), 20: (12.22, 30.89)}


@pytest.mark.parametrize("hits, count", NEWCOMBE)
def test_shares_agree_with_newcombes_table(hits, count):
    assert share_interval(hits, count) == pytest.approx(NEWCOMBE[hits, count], abs=5e-5)


@pytest.mark.parametrize("count", GARWOOD)
def test_rates_agree_with_garwoods_table(count):
    low, high = GARWOOD[count]
    assert rate_interval(count, 1.0) == pytest.approx((low, high), abs=6e-3)
    assert rate_interval(count, 4.0) == pytest.approx((low / 4, high / 4), abs=2e-3)


def test_nothing_seen_is_no_division_by_zero():
    assert share_interval(0, 0) == (0, 1)
    assert share_interval(0, 3)[0] == 0 and share_interval(3, 3)[1] == 1
    assert rate_interval(0, 0) == (0, float("inf"))
    for wrong in ((-1, 3), (4, 3)):
        with pytest.raises(ValueError):
            share_interval(*wrong)
    with pytest.raises(ValueError):
        rate_interval(-1, 2.0)


def test_six_false_alarms_make_a_rate_known_within_a_factor_of_3():
    """Garwood's table: 5 is 1.62 to 11.67, a factor of 3.1; 6 is 2.20 to 13.06, a factor of 2.7."""
    assert counts_to_know() == 6
    assert minutes_to_know(0.1) == pytest.approx(60)
    assert minutes_to_know(0.0) == float("inf")
    with pytest.raises(ValueError):
        counts_to_know(1.0)
