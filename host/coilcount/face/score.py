"""What the score of an alert means, in words: how far it is above the threshold, and when its peak says nothing."""

from coilcount.model import Alert

# Multiples of the threshold in force.  Chosen by hand: noise alone rarely goes far above the threshold, and an alert
# that is three times as high does not depend on where exactly the threshold is.
WEAK_BELOW = 1.25
STRONG_FROM = 3.0
# A pass with at least this score (sigma) has a peak of at least this height (ppm), if the expected noise is 0.01 ppm or
# more.  On a quiet bench it is about 0.05 ppm, the default of `scale_floor_ppm`.
LARGE_SCORE, NO_PEAK_PPM = 10.0, 0.1


def times_words(score: float, threshold: float) -> str:
    """The score as a multiple of the threshold, for a table: 1.1x, 12x."""
    ratio = score / threshold
    return f"{ratio:.1f}x" if ratio < 9.95 else f"{ratio:.0f}x"


def score_words(score: float, threshold: float) -> str:
    """The same with a word: 1.1x weak, 2.0x clear, 12x strong."""
    return f"{times_words(score, threshold)} {_word(score / threshold)}"


def strength(score: float, threshold: float) -> str:
    """The same for a line with room: 1.1 x threshold, weak; "" without a threshold."""
    if not threshold:
        return ""
    ratio = score / threshold
    return f"{ratio:.1f} x threshold, {_word(ratio)}"


def _word(ratio: float) -> str:
    return "weak" if ratio < WEAK_BELOW else "strong" if ratio >= STRONG_FROM else "clear"


def beside_a_step(alert: Alert) -> bool:
    """Whether a sudden change beside the peak made a large score, so that the peak itself does not explain it.

    The detection statistic compares a reading with the readings before and after it.  Just before and after a sudden
    change the statistic is large.  The coil then reads the baseline, so that the peak rounds to nothing, or its shift
    has the other sign than the statistic.
    """
    no_peak = abs(alert.peak_shift_ppm) < NO_PEAK_PPM
    return alert.score >= LARGE_SCORE and (no_peak or alert.sign * alert.peak_shift_ppm < 0)
