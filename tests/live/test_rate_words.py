"""The allowed rate of false alarms and the rarity of an alert, in words; the rates of the keys."""

from coilcount.live.rate_words import asked_words, next_rate, rarity_cell, rarity_short, rarity_words
from coilcount.settings import RATES


def test_how_rarity_and_rate_are_written():
    assert rarity_words(10.0) == "noise alone does this once in 10 min or more"
    assert rarity_words(4.2) == "noise alone does this about once in 4 min"
    assert rarity_words(0.25) == "noise alone does this about once in 15 s"
    assert [rarity_cell(minutes) for minutes in (None, 0.01, 0.99, 1.0, 2.95, 9.7, 10.0)] == [
        "?", "<0.1", "1.0", "1.0", "3.0", "9.7", ">10",
    ]  # fmt: skip
    assert max(len(rarity_short(minutes)) for minutes in (None, 0.1, 2.0, 10.0)) <= 29
    assert (asked_words(1.0), asked_words(0.3)) == (
        "at most 1 false alarm a minute", "at most 0.3 false alarms a minute"
    )  # fmt: skip


def test_the_keys_step_through_the_rates():
    rate, seen = 0.1, [0.1]
    while (higher := next_rate(rate, more=True)) != rate:
        rate = higher
        seen.append(rate)
    assert tuple(seen) == RATES
    assert (next_rate(0.1, False), next_rate(0.5, False), next_rate(0.5, True)) == (0.1, 0.3, 1.0)
    assert next_rate(None, True) == next_rate(None, False) == 1.0
