"""Instants and lengths of time in words, the score in words, and the table of alerts."""

import io

import pytest
from coilcount.commands.kept import Kept
from coilcount.face.plain import event_line
from coilcount.face.score import beside_a_step, score_words
from coilcount.face.tables import COLUMNS, SEEN, SIGN, STEP, TOGETHER, print_table
from coilcount.face.times import instant, length
from coilcount.model import Alert, Hold, MarkMade, Silence, Thresholds


def alert(number, peak_s, ppm, score=9.6, stage="final", sign=None, seen=1):
    sign = (1 if ppm > 0 else -1) if sign is None else sign
    response = {1: "non-ferrous", -1: "ferrous", 0: "uncertain"}[sign]
    times = (peak_s - 0.1, peak_s + 0.2, peak_s + 0.4)
    return Alert(stage, number, *times, peak_s, False, sign, response, (), score, ppm, ppm * 0.025, 0.97, 0.2, seen)


def table(outputs, threshold=4.8):
    out = io.StringIO()
    print_table(outputs, out, threshold_of=lambda number: threshold)
    return out.getvalue()


def plain(text):
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0:00.0"), (7.04, "0:07.0"), (59.95, "1:00.0"), (83.4, "1:23.4"), (3599.94, "59:59.9"),
        (3599.96, "1:00:00.0"), (36_754.3, "10:12:34.3"), (-0.01, "0:00.0"), (-2.5, "-0:02.5"),
    ],
)  # fmt: skip
def test_an_instant(seconds, text):
    assert instant(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.04, "0.0 s"), (3.7, "3.7 s"), (59.94, "59.9 s"), (59.97, "1 min 0.0 s"), (725, "12 min 5.0 s"),
        (3599.97, "1 h 0 min 0 s"), (7385.2, "2 h 3 min 5 s"),
    ],
)  # fmt: skip
def test_a_length_of_time(seconds, text):
    assert length(seconds) == text


@pytest.mark.parametrize(
    ("score", "words"),
    [(4.9, "1.0x weak"), (5.9, "1.2x weak"), (6.0, "1.2x clear"), (14.3, "3.0x clear"), (14.5, "3.0x strong"),
     (57.6, "12x strong")],
)  # fmt: skip
def test_the_score_is_a_multiple_of_the_threshold_with_a_word(score, words):
    assert score_words(score, 4.8) == words


def test_a_row_whose_peak_is_nothing_is_marked_and_explained():
    """The row "-0.001 Hz, score 48.8": the change beside it made the score, and the coil read the baseline."""
    nothing = alert(2, 20.0, -0.02, score=48.8)
    assert beside_a_step(nothing) and beside_a_step(alert(1, 1.0, 40.0, 700.0, sign=-1))
    assert not beside_a_step(alert(1, 1.0, 0.3, score=48.8))
    # On a very quiet coil a weak alert may well have so small a peak.
    assert not beside_a_step(alert(1, 1.0, 0.07, score=4.9))
    text = table([alert(1, 8.0, 30.0), nothing])
    marked = [line for line in text.splitlines() if "*" in line]
    assert "ferrous response *" in marked[0] and "10x" in marked[0]
    assert plain(STEP) in plain(text)
    assert plain(STEP) not in plain(table([alert(1, 8.0, 30.0)]))
    assert "beside a sudden change" in event_line(nothing, Thresholds(4.8, 4.8))[1]


def test_alerts_within_a_second_are_joined_and_none_is_dropped():
    alerts = [alert(i, peak_s, 30.0) for i, peak_s in enumerate((8.0, 8.9, 9.8, 12.0, 20.0, 20.5), 1)]
    text = table([*reversed(alerts), MarkMade(8.5, "gate")])
    rows = [line for line in text.splitlines() if "non-ferrous" in line and "2.0x" in line]
    assert ["┐" in row or "│" in row or "┘" in row for row in rows] == [True, True, True, False, True, True]
    assert ["".join(glyph for glyph in "┐│┘" if glyph in row) for row in rows] == ["┐", "│", "┘", "", "┐", "┘"]
    assert plain(TOGETHER) in plain(text)
    assert plain(TOGETHER) not in plain(table(alerts[3:5]))


def test_the_table_says_under_itself_what_its_columns_mean():
    outputs = [
        alert(1, 8.0, 30.0), alert(2, 10.4, 31.0, seen=2), Hold("final", 12.0, 14.0, False, 1),
        Silence(20.0, 24.0, "unplugged", True), MarkMade(65.0, "key 1"),
    ]  # fmt: skip
    text = table(outputs)
    assert max(map(len, text.splitlines())) <= 80
    for sentence in (SIGN, COLUMNS, SEEN):
        assert plain(sentence) in plain(text)
    for header in ("no.", "time", "went", "Hz", "ppm", "suggests", "conf.", "score", "rare"):
        assert header in text.splitlines()[0]
    assert "baseline held until 0:14.0" in text and "unplugged, until about" in text and "1:05.0" in text
    assert "▲ rose 2×" in text
    # A table without alerts needs no explanation.
    assert len(table(outputs[2:]).splitlines()) == 4


def test_the_score_is_of_the_threshold_at_which_the_alert_was_raised():
    """The thresholds change while an alert is open: the word stays that of the moment of raising, by its sign."""
    thresholds = Thresholds(8.0, 20.0)
    kept = Kept(lambda: thresholds)
    kept.append(alert(1, 8.0, 30.0, stage="raised"))
    thresholds = Thresholds(4.0, 5.0)
    kept.append(alert(1, 8.0, 30.0))
    kept.append(alert(2, 9.5, 30.0, stage="raised"))
    kept.append(alert(2, 9.5, 30.0))
    kept.append(alert(3, 12.5, -30.0))
    of = kept.threshold_of()
    assert (of(1), of(2), of(3), of(4)) == (8.0, 4.0, 5.0, 0.0)
    out = io.StringIO()
    print_table(kept.outputs, out, threshold_of=of)
    assert "1.2x" in out.getvalue() and "2.4x" in out.getvalue()
