"""The picture of a replay: what is drawn, and that no spike is lost in a long recording."""

import math
from array import array

import matplotlib.image
import numpy as np
import pytest
from coilcount.face.picture_replay import _figure, draw_replay
from coilcount.face.replay_trace import MOST_ROWS, ROW_LENGTHS_S, Trace, decimated, row_length_s
from coilcount.model import Alert, Hold, Label, MarkMade, Silence


def alert(number, peak_s, ppm, response):
    sign = 1 if ppm > 0 else -1
    return Alert(
        "final", number, peak_s, peak_s + 0.2, peak_s + 0.5, peak_s, False, sign, response, (), 9.0, ppm, ppm * 0.025,
        None, 0.2,
    )  # fmt: skip


def trace(duration_s=100.0, start_s=0.0):
    found = Trace("walk.ccap", True, "2026-05-01T08:00:00Z", start_s, start_s + duration_s)
    times = [start_s + 0.02 * k for k in range(round(50 * duration_s))]
    found.warm_up_s, found.warm_up_ppm = array("d", times[:200]), array("d", [-500.0] * 200)
    found.time_s = array("d", times[200:])
    found.shift_ppm = array("d", [math.sin(time) for time in times[200:]])
    found.slow_s = array("d", [start_s + k for k in range(round(duration_s))])
    found.rise_ppm = array("d", [math.nan] * 4 + [3.0] * (round(duration_s) - 4))
    found.fall_ppm = array("d", [math.nan] * 4 + [3.5] * (round(duration_s) - 4))
    found.baseline_hz = array("d", [math.nan] * 4 + [25_000.0 + 0.01 * k for k in range(round(duration_s) - 4)])
    found.temperature_c = array("d", [20.0] * round(duration_s))
    return found


def full_trace():
    found = trace(60.0)
    found.shift_ppm[1000] = 40.0
    found.alerts = [
        alert(1, 10.0, 30.0, "non-ferrous"), alert(2, 20.0, -20.0, "ferrous"), alert(3, 20.1, -20.0, "ferrous"),
        alert(4, 30.0, 10.0, "uncertain"),
    ]  # fmt: skip
    found.holds = [Hold("final", 35.0, 38.0, False, 1), Hold("final", 55.0, None, True, 1)]
    found.silences = [Silence(40.0, 45.0, "unplugged", True)]
    found.marks = [MarkMade(25.0, "gate $x_2$ \x1b[1m")]
    found.frozen = [(15.0, 18.0)]
    found.labels = [
        Label(9.0, 11.0, 10.0, "coin 24 mm", "copper", "non-ferrous"), Label(21.0, 22.0, 21.5, "knock"),
        *(Label(30.0 + k / 10, 30.5 + k / 10, 30.2 + k / 10, f"nail number {k}", "iron", "ferrous") for k in range(6)),
    ]  # fmt: skip
    return found


def texts(axes):
    return [text.get_text() for text in axes.texts]


def test_alerts_labels_marks_holds_and_gaps_are_drawn_in_their_places():
    figure = _figure(full_trace())
    row, lane, baseline, board = figure.axes
    glyphs = {
        (line.get_marker(), line.get_markerfacecolor()): list(zip(*line.get_data(), strict=True))
        for line in row.lines
        if line.get_marker() in "^v" and len(line.get_xdata())
    }
    assert glyphs == {
        ("^", "#0072B2"): [(10.0, 30.0)],
        ("v", "#D55E00"): [(20.0, -20.0), (20.1, -20.0)],
        ("^", "white"): [(30.0, 10.0)],
    }
    assert {"1", "2 3", "4", "gap: unplugged"} <= set(texts(row))
    assert [text for text in texts(row) if "gate" in text] == [" gate $x_2$ \\x1b[1m"]
    # Of six names in one place as many as fit, and every bar.
    names = texts(lane)
    assert {"coin 24 mm", "knock"} < set(names) and sum("nail" in name for name in names) == 3
    assert len(lane.lines) == 8
    assert "simulated" in figure.get_suptitle() and "walk.ccap" in figure.get_suptitle()
    assert row.get_xlim() == baseline.get_xlim() == board.get_xlim() == (0.0, 60.0)
    words = {text.get_text() for text in figure.legends[0].get_texts()}
    assert {"gap", "mark", "label", "baseline held", "frozen", "warm-up", "hollow: uncertain"} < words
    # No line of the shift runs over the gap, and the warm-up does not set the scale.
    lines = [line for line in row.lines if line.get_color() == "#000000" and line.get_marker() == "None"]
    spans = [(line.get_xdata()[0], line.get_xdata()[-1]) for line in lines if len(line.get_xdata())]
    assert spans == [(pytest.approx(4.0), pytest.approx(39.98)), (pytest.approx(45.0), pytest.approx(59.98))]
    assert 40 < row.get_ylim()[1] < 100


def test_only_what_occurs_stands_in_the_legend():
    words = {text.get_text() for text in _figure(trace()).legends[0].get_texts()}
    assert words == {"threshold", "rose: non-ferrous, or sheet iron", "fell: ferrous response", "warm-up"}


def test_a_single_reading_stays_in_the_picture_of_ten_hours():
    times = array("d", [0.02 * k for k in range(1_800_000)])
    values = array("d", bytes(8 * len(times)))
    values[777_777], values[777_779] = 50.0, -60.0
    x, y = decimated(times, values, 0.0, 36_000.0, 1400)
    assert len(x) <= 2800 and x == sorted(x)
    assert (max(y), min(y)) == (50.0, -60.0)
    assert x[y.index(50.0)] == times[777_777] and x[y.index(-60.0)] == times[777_779]
    x, y = decimated(times, values, 15_555.0, 15_556.0, 1400)
    assert len(x) == 50  # few readings are drawn as they are


def test_rows_are_few_and_of_whole_minutes():
    for duration_s in (1.0, 60.0, 61.0, 359.0, 3600.000_02, 36_000.0, 7 * 86_400.0):
        row_s = row_length_s(duration_s)
        assert duration_s <= MOST_ROWS * row_s + 0.1
        assert row_s in ROW_LENGTHS_S or duration_s > 6 * 86_400
    figure = _figure(trace(3600.02))
    assert len(figure.axes) == 6 + 2
    assert [axes.get_xlim() for axes in figure.axes[:6]] == [(600.0 * k, 600.0 * k + 600) for k in range(6)]


def test_the_line_runs_over_the_edge_of_a_row():
    found = trace(3600.0)
    found.time_s = array("d", range(4, 3600))  # a reading a second
    found.shift_ppm = array("d", bytes(8 * len(found.time_s)))
    ends = []
    for axes in _figure(found).axes[:6]:
        black = [line.get_xdata() for line in axes.lines if line.get_color() == "#000000"]
        ends += [(x[0], x[-1]) for x in black if len(x)]
    assert all(0 < 600 * k - first <= 2 for k, (first, _) in enumerate(ends) if k)
    assert all(0 <= last - 600 * (k + 1) <= 2 for k, (_, last) in enumerate(ends[:5]))


def test_times_of_an_imported_log_need_not_begin_at_0():
    figure = _figure(trace(50.0, start_s=5000.0))
    assert figure.axes[0].get_xlim() == (5000.0, 5050.0)


def test_the_files_are_the_same_each_time_and_readable_in_grey(tmp_path):
    paths = draw_replay(full_trace(), tmp_path / "a", "walk")
    again = draw_replay(full_trace(), tmp_path / "b", "walk")
    assert [path.name for path in paths] == ["walk.svg", "walk.png"]
    assert paths[0].read_bytes() == again[0].read_bytes()
    picture = matplotlib.image.imread(paths[1])
    assert picture.shape[1] == 1320
    # The lightness of the two signs differs from white by far more than that of the band between the thresholds.
    grey = picture[..., :3] @ [0.299, 0.587, 0.114]
    for red, green, blue in ((0x00, 0x72, 0xB2), (0xD5, 0x5E, 0x00)):
        there = np.all(np.abs(picture[..., :3] * 255 - [red, green, blue]) < 2, axis=-1)
        assert there.sum() > 50 and grey[there].max() < 0.55
