"""What the score of an alert means, in words: how far it is above the threshold, and when its peak says nothing."""

from coilcount.model import Alert

# Multiples of the threshold in force.  Chosen by hand: noise alone rarely goes far above the threshold, and an alert
# that is three times as high does not depend on where exactly the threshold is.
WEAK_BELOW = 1.25
STRONG_FROM = 3.0
# ppm.  A real peak is farther from the baseline than this: 0.05 ppm is the smallest noise that the tracker assumes
# (`scale_floor_ppm`), and no threshold is below 2 sigma.
NO_PEAK_PPM = 0.1


def score_words(score: float, threshold: float) -> str:
    """The score as a multiple of the threshold with a word, for a table: 1.1x weak, 2.0x clear, 12x strong."""
    ratio = score / threshold
    return f"{ratio:.1f}x {_word(ratio)}" if ratio < 9.95 else f"{ratio:.0f}x {_word(ratio)}"


def strength(score: float, threshold: float) -> str:
    """The same for a line with room: 1.1 x threshold, weak; "" without a threshold."""
    if not threshold:
        return ""
    ratio = score / threshold
    return f"{ratio:.1f} x threshold, {_word(ratio)}"


def _word(ratio: float) -> str:
    return "weak" if ratio < WEAK_BELOW else "strong" if ratio >= STRONG_FROM else "clear"


def beside_a_step(alert: Alert) -> bool:
    """Whether a sudden change beside the peak made the score, so that the peak itself explains nothing.

    The detection statistic compares a reading with the readings before and after it.  Right before or after a sudden
    change its size is large while the coil still reads, or reads again, the baseline (the peak rounds to nothing), or
    while the shift has the other sign than the statistic.
    """
    return abs(alert.peak_shift_ppm) < NO_PEAK_PPM or alert.sign * alert.peak_shift_ppm < 0
