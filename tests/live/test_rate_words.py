"""The allowed rate of false alarms and the rarity of an alert, in words; the rates of the keys."""

from dataclasses import replace

from coilcount.live.rate_words import asked_words, next_rate, rarity_cell, rarity_short, rarity_words
from coilcount.model import BROAD_DIP
from coilcount.settings import RATES
from coilcount.tracker.alert import BROAD
from readouts import alert


def of(rarity_min, reasons=()):
    """An alert of this rarity."""
    return replace(alert("final", -1, reasons=reasons), rarity_min=rarity_min)


def test_how_rarity_and_rate_are_written():
    assert rarity_words(of(10.0)) == "noise alone does this once in 10 min or more"
    assert rarity_words(of(4.2)) == "noise alone does this about once in 4 min"
    assert rarity_words(of(0.25)) == "noise alone does this about once in 15 s"
    assert [rarity_cell(of(minutes)) for minutes in (None, 0.01, 0.99, 1.0, 2.95, 9.7, 10.0)] == [
        "?", "<0.1", "1.0", "1.0", "3.0", "9.7", ">10",
    ]  # fmt: skip
    assert max(len(rarity_short(of(minutes))) for minutes in (None, 0.1, 2.0, 10.0)) <= 29
    assert (asked_words(1.0), asked_words(0.3)) == (
        "at most 1 false alarm a minute", "at most 0.3 false alarms a minute"
    )  # fmt: skip


def test_nothing_is_said_of_the_rarity_of_a_broad_dip():
    """The counts of the noise say nothing about it, today or later."""
    assert BROAD_DIP == BROAD
    assert (rarity_words(of(None)), rarity_short(of(None))) == ("rarity not known yet", "rarity not known yet")
    dip = of(None, (BROAD_DIP, "too weak"))
    assert (rarity_words(dip), rarity_short(dip), rarity_cell(dip)) == ("", "", "–")


def test_the_keys_step_through_the_rates():
    rate, seen = 0.1, [0.1]
    while (higher := next_rate(rate, more=True)) != rate:
        rate = higher
        seen.append(rate)
    assert tuple(seen) == RATES
    assert (next_rate(0.1, False), next_rate(0.5, False), next_rate(0.5, True)) == (0.1, 0.3, 1.0)
    assert next_rate(None, True) == next_rate(None, False) == 1.0
