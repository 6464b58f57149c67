"""The pictures of `tune` show the numbers of the report, also those that a logarithmic axis has no place for."""

import io

import coilcount.face.picture_tune as pictures
import pytest
from coilcount.desk.tune import tune
from coilcount.face.tune_text import print_tune
from coilcount.settings import defaults
from planted_scores import planted


def report_of(*judged):
    return tune(judged, [], [defaults()], 0.5, "recording")


def test_the_curve_is_as_it_was_measured():
    """At 8 sigma no false alarm is left.  It is drawn in the shaded strip, and not left out."""
    report = report_of(planted("a", [4.1, 5.0, 5.0, 7.0], [9.0, 4.5]), planted("b", [4.1, 5.0], [9.0, 7.0]))
    axes = pictures._detection(report).axes[0]
    drawn = next(line for line in axes.lines if line.get_label() == "each threshold")
    assert drawn.get_xdata() == pytest.approx([0.3, 0.3, 0.2, 0.05, 1 / 60])
    assert drawn.get_ydata() == pytest.approx([100, 100, 75, 75, 50])
    markers = {line.get_label(): line for line in axes.lines}
    assert markers["chosen: 3"].get_xdata() == pytest.approx([0.3])
    assert "on recordings left out of the choice" in markers
    rates, found = pictures._thresholds(report).axes
    assert rates.get_yscale() == "log" and found.get_ylim()[0] == 0
    assert rates.lines[0].get_ydata() == pytest.approx([0.3, 0.3, 0.2, 0.05])
    rows = pictures._objects(report).axes[0].get_yticklabels()
    assert [row.get_text() for row in rows] == ["nail, 0 to 5 cm: 2 of 2", "nail, 5 to 10 cm: 2 of 2"]


def test_recordings_without_false_alarms_or_minutes_can_be_shown(tmp_path):
    assert len(pictures.draw_tune(report_of(planted("a", [], [9.0])), tmp_path / "quiet")) == 6
    assert len(pictures.draw_tune(report_of(planted("a", [], [9.0], minutes=0.0)), tmp_path / "none")) == 4
    for judged in ([planted("a", [], [], minutes=0.0)], [planted("a", [9.0] * 99), planted("b")]):
        out = io.StringIO()
        print_tune(report_of(*judged), out)
        assert "> threshold 4.80, in force" in out.getvalue()
