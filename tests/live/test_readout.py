"""What the readout answers, and how it writes its figures; no terminal and no clock."""

import pytest
from coilcount.live.readout import Readout, decimals, figure
from coilcount.model import Point, Silence
from readouts import alert, point


def test_a_peak_of_one_reading_is_kept_by_its_column():
    readout = Readout()
    for k in range(1500):
        readout.take(point(k * 0.02, -9.0 if k == 700 else 0.1))
    columns, column_s = readout.strip(30)
    assert column_s == pytest.approx(1.0)
    assert [column.shift_ppm for column in columns].count(-9.0) == 1
    assert columns[14].shift_ppm == -9.0  # 14.0 s of 0 .. 30 s


@pytest.mark.parametrize(
    ("outputs", "word", "note", "sign"),
    [
        ([], "", "waiting for the first reading", 0),
        ([point(1, 0, ready=False)], "", "warm-up", 0),
        ([point(1, 0)], "", "nothing above the threshold", 0),
        ([point(1, 0, held=True)], "", "baseline held", 0),
        ([point(1, 9, held=True)], "ROSE", "level over the held baseline", 1),
        ([point(10, 9, held=True), alert("settled", -1, "ferrous")], "ROSE", "level over the held baseline", 1),
        ([point(10, 9, held=True), alert("settled", 1, "non-ferrous")], "NON-FERROUS", "rose: non-ferrous", 1),
        ([point(10, 9), alert("raised", 0)], "SETTLING", "its sign is not final", 0),
        ([point(10, 9), alert("settled", 1, "non-ferrous")], "NON-FERROUS", "rose: non-ferrous, or sheet iron", 1),
        ([point(10, 9), alert("settled", -1, "ferrous")], "FERROUS", "fell: ferrous response", -1),
        ([point(10, 9), alert("settled", -1, reasons=("two objects",))], "UNCERTAIN", "two objects", -1),
        ([point(12, 0), alert("final", 1, "non-ferrous", released_s=10.5)], "NON-FERROUS", "rose", 1),
        ([point(18, 0), alert("final", 1, "non-ferrous", released_s=10.5)], "", "nothing above the threshold", 0),
        ([point(11, 0), alert("final", 0, released_s=10.5)], "", "nothing above the threshold", 0),
    ],
)
def test_the_answer(outputs, word, note, sign):
    readout = Readout()
    for output in outputs:
        readout.take(output)
    answer = readout.answer()
    assert (answer.word, answer.sign) == (word, sign)
    assert note in answer.note


def test_figures_show_two_digits_of_their_uncertainty():
    assert figure(12.3456, 0.123) == "+12.35 ± 0.12"
    assert figure(-1234.6, 23.0) == "-1235 ± 23"
    assert decimals(0.0) == 2 and decimals(float("inf")) == 2


def test_drift_is_of_the_baseline_and_not_over_a_gap():
    readout = Readout()
    for k in range(200):
        readout.take(Point(k * 0.1, 25e3, 0, 0, 0.1, 25e3 * (1 + 1e-6 * k * 0.1 / 60), 0, True, False, False))
    assert readout.drift_ppm_per_min() == pytest.approx(1.0, rel=1e-3)
    readout.take(Silence(20.0, 25.0, "unplugged", True))
    assert readout.drift_ppm_per_min() is None
