"""The readout and the screen, rendered at fixed sizes; no terminal and no clock."""

import io
from dataclasses import replace

import pytest
from coilcount.face.plain import PlainLines, event_line, status_line
from coilcount.face.screen import draw
from coilcount.face.strip import level, scale
from coilcount.live.readout import Readout, decimals, figure
from coilcount.model import Alert, MarkMade, Notice, Point, Silence
from coilcount.readings.frequency import Estimate
from coilwire import records
from rich.console import Console, Group


def point(time_s: float, shift_ppm: float, ready: bool = True, held: bool = False) -> Point:
    frequency_hz = 25_000.0 * (1 + shift_ppm * 1e-6)
    return Point(time_s, frequency_hz, shift_ppm, 0.025 * shift_ppm, 0.1, 25_000.0, 0, ready, False, held)


def alert(stage: str, sign: int, response: str = "uncertain", reasons=(), released_s=None, number: int = 1) -> Alert:
    settled = None if sign == 0 else 10.2
    return Alert(
        stage, number, 10.0, settled, released_s, 9.8, released_s is None, sign, response, tuple(reasons), 12.5,
        8.0 * sign, 0.2 * sign, 0.93 if sign else None, 0.2,
    )  # fmt: skip


def busy() -> Readout:
    """Half a minute with a gap, a mark, a pass above and one below the line."""
    readout = Readout()
    for k in range(1500):
        time_s = k * 0.02
        if 8 <= time_s < 11:
            continue
        shift = 8.0 if 20 <= time_s < 20.5 else -4.0 if 25 <= time_s < 25.5 else 0.05
        readout.take(point(time_s, shift))
    readout.take(Silence(8.0, 11.0, "unplugged", True))
    readout.take(MarkMade(15.0, "key 1"))
    for number in range(1, 8):
        readout.take(alert("final", 1, "non-ferrous", (), 10.4, number))
    facts = readout.facts
    facts.title = "scene demo; firmware in MicroPython 1.29.0"
    facts.simulated = True
    facts.host_s, facts.records, facts.records_per_s = 3723.4, 123_456, 50.0
    facts.lost, facts.damaged, facts.dropped = 17, 3, 2
    facts.raise_level, facts.threshold_ppm, facts.noise_ppm = 4.5, 1.2, 0.1
    facts.temperature_c, facts.supply_v, facts.file = 21.5, 5.01, "walk.ccap"
    return readout


def rendered(readout: Readout, width: int, height: int, **console) -> list[str]:
    console = Console(width=width, height=height, file=io.StringIO(), record=True, **console)
    console.print(Group(*draw(readout, width, height)))
    return console.export_text(clear=False).splitlines()


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40), (60, 24), (200, 60), (80, 10), (40, 6), (20, 3)])
def test_it_fits_every_terminal(width, height):
    lines = rendered(busy(), width, height)
    assert len(lines) <= height
    # A line that were too long would have been cut by the console, not by draw(): ask draw() itself as well.
    assert all(line.cell_len <= width for line in draw(busy(), width, height))
    assert "+0.05 ±" in "".join(lines)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40)])
def test_everything_that_matters_is_in_sight(width, height):
    text = "\n".join(rendered(busy(), width, height))
    for word in (
        "SIMULATED", "+0.05 ± 0.10 ppm", "Hz", "50.0 records/s", "lost 17", "damaged 3", "dropped 2", "123456 records",
        "21.5 °C", "5.01 V", "drift", "noise 0.100 ppm", "threshold 4.50 σ = 1.20 ppm", "baseline 25 000.000 Hz",
        "1:02:03", "walk.ccap", "m mark", "f freeze", "q quit", "non-ferrous, or sheet iron", "now",
    ):  # fmt: skip
        assert word in text, word


def test_the_strip_shows_the_sign_by_place_and_the_gap():
    lines = [line.plain[11:] for line in draw(busy(), 80, 24)]
    zero = next(index for index, line in enumerate(lines) if "─" in line)
    above, below = "".join(lines[zero - 3 : zero]), "".join(lines[zero + 1 : zero + 4])
    assert set(above) & set("█▄▁") and not set(above) & set("▀▔")
    assert set(below) & set("▀▔█") and not set(below) & set("▄▁")
    assert "░" in lines[zero] and lines[zero].count("m") == 1
    # 20 s lies left of 25 s, and the gap of 3 s spans six columns of half a second.
    assert lines[zero - 1].find("█") < lines[zero + 1].find("█") - 5
    assert 6 <= lines[zero].count("░") <= 7


def test_a_peak_of_one_reading_is_kept_by_its_column():
    readout = Readout()
    for k in range(1500):
        readout.take(point(k * 0.02, -9.0 if k == 700 else 0.1))
    columns, column_s = readout.strip(30)
    assert column_s == pytest.approx(1.0)
    assert [column.shift_ppm for column in columns].count(-9.0) == 1
    assert columns[14].shift_ppm == -9.0  # 14.0 s of 0 .. 30 s


@pytest.mark.parametrize(
    ("outputs", "words", "glyph"),
    [
        ([], "waiting for the first reading", "–"),
        ([point(1, 0, ready=False)], "filling the boxes", "–"),
        ([point(1, 0)], "steady", "–"),
        ([point(1, 0, held=True)], "held: something rests", "–"),
        ([point(1, 9, held=True)], "rose, as seen from the held baseline", "▲"),
        ([point(10, 9, held=True), alert("settled", -1, "ferrous")], "rose, as seen from the held", "▲"),
        ([point(10, 9, held=True), alert("settled", 1, "non-ferrous")], "rose: non-ferrous, or sheet iron", "▲"),
        ([point(10, 9), alert("raised", 0)], "settling…", "–"),
        ([point(10, 9), alert("settled", 1, "non-ferrous")], "rose: non-ferrous, or sheet iron", "▲"),
        ([point(10, 9), alert("settled", -1, "ferrous")], "fell: ferrous response", "▼"),
        ([point(10, 9), alert("settled", -1, reasons=("two objects",))], "fell: uncertain: two objects", "▼"),
        ([point(12, 0), alert("final", 1, "non-ferrous", released_s=10.5)], "rose", "▲"),  # long enough to be read
        ([point(14, 0), alert("final", 1, "non-ferrous", released_s=10.5)], "steady", "–"),
        ([point(11, 0), alert("final", 0, released_s=10.5)], "steady", "–"),
    ],
)
def test_the_answer_in_words(outputs, words, glyph):
    readout = Readout()
    for output in outputs:
        readout.take(output)
    line = next(line for line in rendered(readout, 80, 24) if line.startswith(" answer"))
    assert words in line and f"{glyph} " in line


def test_colours_are_blue_and_vermillion_and_no_color_leaves_the_words(monkeypatch):
    readout = Readout()
    for output in (point(10, 9), alert("settled", 1, "non-ferrous")):
        readout.take(output)
    out = io.StringIO()
    Console(width=80, file=out, force_terminal=True, color_system="truecolor").print(Group(*draw(readout, 80, 24)))
    assert "38;2;0;114;178" in out.getvalue()  # #0072B2: blue of M. Okabe and K. Ito, "Color Universal Design" (2008)
    monkeypatch.setenv("NO_COLOR", "1")
    out = io.StringIO()
    Console(width=80, file=out, force_terminal=True, color_system="truecolor").print(Group(*draw(readout, 80, 24)))
    assert "38;2" not in out.getvalue() and "▲  rose" in out.getvalue()


def test_a_terminal_without_unicode_gets_plain_characters():
    lines = draw(busy(), 80, 24, unicode=False)
    assert "".join(line.plain for line in lines).isascii()


def test_the_scale_steps_by_1_2_5_and_holds_the_threshold():
    columns, _ = busy().strip(69)
    assert scale(columns, None) == 10.0
    assert scale([], 1.2) == 5.0
    assert [level(9.0, 10.0, row, 3) for row in range(3)] == [3, 3, 2]
    assert level(0.05, 10.0, 0, 3) == 0


def test_figures_show_two_digits_of_their_uncertainty():
    assert figure(12.3456, 0.123) == "+12.35 ± 0.12"
    assert figure(-1234.6, 23.0) == "-1235 ± 23"
    assert decimals(0.0) == 2 and decimals(float("inf")) == 2


def test_the_coil_is_shown_with_its_uncertainty_by_screen_and_status():
    readout = busy()
    assert "coil     25 000.001 Hz    baseline" in "\n".join(rendered(readout, 80, 24))  # the last reading's
    for uncertainty_hz, words in (
        (0.0123, "25 028.227 ± 0.012 Hz"),
        (0.9, "25 028.23 ± 0.90 Hz"),
        (1.2e-5, "25 028.226790 ± 0.000012 Hz"),
    ):
        readout.estimate = lambda u=uncertainty_hz: Estimate(25_028.22679, u, 1.0)
        assert f" coil     {words}    baseline 25 000.000 Hz" in rendered(readout, 80, 24)[4]
        assert f", {words}, drift" in status_line(readout)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (80, 10), (80, 6)])
def test_every_flag_of_the_board_is_a_word_in_sight(width, height):
    readout = busy()
    assert "flagged" not in "\n".join(rendered(readout, width, height))
    readout.facts.faults = {word: 999 for _, word in records.FAULTS}
    lines = rendered(readout, width, height)
    assert len(lines) <= height
    for _, word in records.FAULTS:
        assert f"{word} 999" in "\n".join(lines)
        assert f", {word} 999, " in status_line(readout)


@pytest.mark.parametrize(("fact", "words"), [({"problem": "unplugged"}, "unplugged"), ({"stopped": True}, "stopped")])
def test_an_old_reading_is_not_shown_as_the_present_one(fact, words):
    readout = busy()
    readout.take(point(30.0, 40.0))
    assert "+40" in "".join(rendered(readout, 80, 24)[:5])
    for name, value in fact.items():
        setattr(readout.facts, name, value)
    top = "".join(rendered(readout, 80, 24)[:5])
    assert "+40" not in top and "25 001" not in top
    assert "– ppm" in top and words in top


def at_rest(frozen_s=None, held=False, hold_from_ppm=8.04) -> Readout:
    readout = busy()
    readout.take(point(60.0, 9.0, held=held))
    readout.facts.hold_from_ppm = hold_from_ppm
    if frozen_s is not None:
        readout.facts.frozen_since_host_s = readout.facts.host_s - frozen_s
    return readout


@pytest.mark.parametrize(
    ("readout", "words"),
    [
        (at_rest(), "follows; held by itself from 8.0 ppm on"),
        (at_rest(hold_from_ppm=104.0), "no hold below 104 ppm on this ground: f beside it"),
        (at_rest(hold_from_ppm=None), "follows the ground"),
        (at_rest(held=True), "HELD by itself; f freezes it until g"),
        (at_rest(frozen_s=3.2), "FROZEN 0:03: good 4-5 s outdoors, 10 s on a bench"),
        (at_rest(frozen_s=14.0, held=True), "FROZEN 0:14: by now 1 ppm off and more; f new zero"),
    ],
)
def test_what_the_zero_does_and_how_far_it_is_to_be_trusted(readout, words):
    for width, height in ((60, 18), (80, 24), (120, 40)):
        assert f" zero     {words}" in rendered(readout, width, height)
    assert ("ppm on" in status_line(readout)) == (readout.facts.hold_from_ppm is not None)
    looked_for = readout.frozen_s() is not None or readout.point.held
    for width, short in ((60, "cross at right angles: loudest point; long: ends"), (80, "loudest at its ends")):
        assert (short in "\n".join(rendered(readout, width, 24))) == looked_for


def test_whether_the_noise_was_learned_and_whether_of_this_ground():
    def told(width, learned, roughness):
        readout = busy()
        readout.facts.noise_learned, readout.facts.roughness = learned, roughness
        return "\n".join(rendered(readout, width, 24)), status_line(readout)

    for width in (80, 120):
        screen, status = told(width, False, None)
        assert "noise 0.100 ppm, not learned" in screen and ", noise not learned" in status
        screen, status = told(width, True, 1.6)
        assert "noise 0.100 ppm, learned" in screen and ", noise learned" in status and "calmer" not in screen + status
        screen, status = told(width, True, 12.34)
        assert "ground   learned on calmer ground (here 12x): sweep anew, coilcount noise" in screen
        assert "learned on calmer ground (here 12x)" in status
    assert "ground   12x rougher than learned: sweep anew" in told(60, True, 12.34)[0]


@pytest.mark.parametrize(("width", "height"), [(40, 7), (60, 8), (80, 10)])
def test_the_age_of_a_frozen_zero_is_never_out_of_sight(width, height):
    text = "\n".join(rendered(at_rest(frozen_s=65.0), width, height))
    assert "FROZEN 1:05" in text and "f new zero" in text and "g follow" in text


def test_over_a_frozen_zero_the_answer_says_which_way_the_coil_reads_now():
    assert "▲  rose, as seen from the frozen zero" in "\n".join(rendered(at_rest(frozen_s=3.0), 80, 24))


def test_so_many_times_seen_is_told_by_screen_and_line():
    readout = Readout()
    once, thrice = (replace(alert("final", 1, "non-ferrous", (), 10.5), seen=n) for n in (1, 3))
    for one, told in ((once, False), (thrice, True)):
        readout.take(point(10.6, 0))
        readout.take(one)
        lines = rendered(readout, 80, 24)
        assert ("93%  seen 3 times" in lines[3]) == told
        assert ("3×" in "\n".join(lines[4:])) == told
        assert ("sign confidence 93%, seen 3 times" in event_line(one)[1]) == told


def test_drift_is_of_the_baseline_and_not_over_a_gap():
    readout = Readout()
    for k in range(200):
        readout.take(Point(k * 0.1, 25e3, 0, 0, 0.1, 25e3 * (1 + 1e-6 * k * 0.1 / 60), 0, True, False, False))
    assert readout.drift_ppm_per_min() == pytest.approx(1.0, rel=1e-3)
    readout.take(Silence(20.0, 25.0, "unplugged", True))
    assert readout.drift_ppm_per_min() is None


def test_plain_lines_one_for_each_event_and_quiet_only_warnings():
    outputs = [
        point(0.02, 0), point(0.04, 0), alert("raised", 0), alert("settled", -1, "ferrous"),
        alert("final", -1, "ferrous", released_s=10.5), Silence(11.0, 14.0, "unplugged", True), MarkMade(15.0, "key 1"),
        Notice(None, "warning", "the firmware is older than this program"),
    ]  # fmt: skip
    loud, quiet = io.StringIO(), io.StringIO()
    views = [PlainLines(Readout(), loud), PlainLines(Readout(), quiet, quiet=True)]
    for view in views:
        for output in outputs:
            view.show(output)
        view.tick(10.0)
        view.tick(10.1)
    lines = loud.getvalue().splitlines()
    assert len(lines) == len(outputs)  # no line for the second point, one of status
    assert "first frequency 25 000.000 Hz" in lines[0]
    assert "▼ fell -8.00 ppm (-0.200 Hz), ferrous response, sign confidence 93%" in lines[2]
    assert "gap of 3.0 s: unplugged, measured by the host's clock" in lines[4]
    assert lines[-1].startswith("status 0:00")
    assert quiet.getvalue().splitlines() == [f"{'':>9} warning: the firmware is older than this program"]
