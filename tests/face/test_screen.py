"""The readout and the screen, rendered at fixed sizes; no terminal and no clock."""

import io
from dataclasses import replace

import pytest
from coilcount.face.answer_rows import rows_needed
from coilcount.face.big_text import big, width
from coilcount.face.palette import THEMES
from coilcount.face.plain import PlainLines, event_line, status_line
from coilcount.face.score import strength
from coilcount.face.screen import draw
from coilcount.face.strip import level, scale
from coilcount.live.rate_words import asked_words, next_rate, rarity_cell, rarity_short, rarity_words
from coilcount.live.readout import Readout, decimals, figure
from coilcount.model import Alert, ChainFacts, MarkMade, Notice, Point, Silence, Thresholds
from coilcount.readings.frequency import Estimate
from coilcount.settings import RATES
from coilwire import records
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console, Group
from screen_of_a_scene import PICTURE, svg

SIZES = [(80, 24), (120, 40), (60, 24), (50, 15), (200, 60), (80, 10), (40, 6), (20, 3)]


def point(time_s: float, shift_ppm: float, ready: bool = True, held: bool = False) -> Point:
    frequency_hz = 25_000.0 * (1 + shift_ppm * 1e-6)
    return Point(time_s, frequency_hz, shift_ppm, 0.025 * shift_ppm, 0.1, 25_000.0, 0, ready, False, held)


def alert(stage: str, sign: int, response: str = "uncertain", reasons=(), released_s=None, number: int = 1) -> Alert:
    settled = None if sign == 0 else 10.2
    return Alert(
        stage, number, 10.0, settled, released_s, 9.8, released_s is None, sign, response, tuple(reasons), 12.5,
        8.0 * sign, 0.2 * sign, 0.93 if sign else None, 0.2,
    )  # fmt: skip


def busy(**changes) -> Readout:
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
    facts.title, facts.simulated = "scene demo; firmware in MicroPython 1.29.0", True
    facts.host_s, facts.rate_hz, facts.file = 3723.4, 50.0, "walk.ccap"
    readout.chain = ChainFacts(
        records=123_456, rate_hz=50.0, lost=17, damaged=3, dropped=2, temperature_c=21.5, supply_v=5.01, noise_ppm=0.1,
        false_alarms_per_minute=1.0, thresholds=Thresholds(4.0, 4.5), threshold_ppm=Thresholds(1.2, 1.35),
        broad_dips=6,
    )  # fmt: skip
    readout.chain = replace(readout.chain, **changes)
    return readout


def rendered(readout: Readout, columns: int, rows: int, **console) -> list[str]:
    console = Console(width=columns, height=rows, file=io.StringIO(), record=True, **console)
    console.print(Group(*draw(readout, columns, rows)))
    return console.export_text(clear=False).splitlines()


def row(readout: Readout, name: str, columns: int = 80, rows: int = 24) -> str:
    """The line with this label."""
    return next(line for line in rendered(readout, columns, rows) if line.startswith(f" {name} "))


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("answer", ["", "FERROUS", "NON-FERROUS"])
def test_it_fits_every_terminal_and_the_answer_is_never_left_out(columns, rows, answer):
    readout = busy()
    if answer:
        readout.take(replace(alert("settled", -1 if answer == "FERROUS" else 1, answer.lower(), number=9), peak_s=29.0))
    lines = draw(readout, columns, rows)
    assert len(lines) <= rows
    # A line that is too long would be cut by the console, not by draw(): ask draw() itself.
    assert all(line.cell_len <= columns for line in lines)
    if answer:
        words = big(f"{'▼' if answer == 'FERROUS' else '▲'} {answer} 8.00")
        text = "\n".join(line.plain for line in lines)
        assert words[1] in text or answer in text or big(answer, large=True)[1] in text


def places(readout: Readout, columns: int, rows: int) -> dict[str, int]:
    """Label: row number."""
    names = ("now", "coil", "baseline", "link", "board", "soil", "alarms", "file", "keys")
    found = {}
    for number, line in enumerate(draw(readout, columns, rows)):
        word = line.plain[:10].strip()
        if word in names:
            found[word] = number
    return found


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40), (50, 15), (200, 60)])
def test_rows_do_not_change_places_and_numbers_not_their_columns(columns, rows):
    quiet, loud = busy(), busy(lost=9999, damaged=123, faults={"double edge": 5}, roughness=3.0)
    loud.take(replace(alert("settled", -1, "ferrous", number=9), peak_s=29.0))
    loud.facts.message = "mark 3"
    loud.facts.frozen_since_host_s = 3700.0
    assert places(quiet, columns, rows) == places(loud, columns, rows)
    assert len(places(quiet, columns, rows)) >= 4
    for text in ("lost", "damaged", "dropped"):
        if text in row(quiet, "link", columns, rows):
            assert row(quiet, "link", columns, rows).index(text) == row(loud, "link", columns, rows).index(text)


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40)])
def test_everything_that_matters_is_in_sight(columns, rows):
    text = "\n".join(rendered(busy(), columns, rows))
    for word in (
        "SIMULATED", "+0.05 ± 0.10 ppm", "Hz", "50.0 records/s", "lost 17", "damaged 3", "dropped 2", "123456 records",
        "21.5 °C", "5.01 V", "drift", "noise 0.100 ppm", "broad dips 6", "at most 1 false alarm a minute",
        "threshold ▲ 4.0 ▼ 4.5 σ = 1.2 ppm", "baseline 25 000.000 Hz",
        "1:02:03", "walk.ccap", "m mark", "f freeze", "q quit", "non-ferrous, or sheet iron", "now",
    ):  # fmt: skip
        assert word in text, word


def test_the_strip_shows_the_sign_by_place_and_the_gap():
    lines = [line.plain[11:] for line in draw(busy(), 80, 40)]
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


def test_an_answer_fades_and_goes():
    readout = Readout()
    readout.take(alert("final", -1, "ferrous", released_s=10.5))
    fresh = {}
    for time_s in (10.0, 12.7, 12.9, 17.7, 17.9):  # the peak was at 9.8 s
        readout.take(point(time_s, 0))
        answer = readout.answer()
        fresh[time_s] = (answer.word, answer.fresh)
    assert list(fresh.values()) == [*[("FERROUS", True)] * 2, *[("FERROUS", False)] * 2, ("", True)]
    readout.take(point(14.0, 0))
    text = rendered(readout, 80, 24)
    assert any("4 s ago" in line and "-8.00 ppm" in line and "sign confidence  93%" in line for line in text)


def contrast(colour, other: str) -> float:
    """Contrast ratio of two colours (W3C, WCAG 2.1, definitions of relative luminance and contrast ratio)."""

    def luminance(red, green, blue):
        parts = [c / 255 for c in (red, green, blue)]
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    pair = sorted([luminance(*colour.triplet), luminance(*bytes.fromhex(other[1:]))])
    return (pair[1] + 0.05) / (pair[0] + 0.05)


def test_colours_have_contrast_and_no_color_leaves_the_words(monkeypatch):
    standard, bright = THEMES["standard"], THEMES["bright"]
    for style in (standard.rise, standard.fall, standard.quiet):
        assert contrast(style.color, "#000000") >= 4.5 and contrast(style.color, "#FFFFFF") >= 4.5
    for style in (bright.rise, bright.fall, bright.quiet):
        assert contrast(style.color, "#FFFFFF") >= 7.0
    readout = Readout()
    for output in (point(10, 9), alert("settled", 1, "non-ferrous")):
        readout.take(output)

    def screen():
        out = io.StringIO()
        Console(width=80, file=out, force_terminal=True, color_system="truecolor").print(Group(*draw(readout, 80, 24)))
        return out.getvalue()

    assert "38;2;0;122;190" in screen()
    readout.facts.theme = "bright"
    assert "48;2;255;255;255" in screen()
    monkeypatch.setenv("NO_COLOR", "1")
    assert "38;2" not in screen() and big("▲ NON-FERROUS 8.00")[0] in screen()


def test_a_terminal_without_unicode_gets_plain_characters():
    lines = draw(busy(), 80, 24, unicode=False)
    assert "".join(line.plain for line in lines).isascii()


@given(st.text("▲▼ ABCDEFGHIKLMNOPRSTUVW0123456789+-.?", min_size=1, max_size=14), st.booleans())
def test_large_letters_have_rows_of_one_width(text, large):
    rows = big(text, large)
    assert len(rows) == (5 if large else 3)
    assert {len(line) for line in rows} == {width(text, large)}


def test_letters_of_the_readout_are_told_apart():
    letters = "ABCDEFGHIKLMNOPRSTUVW0123456789+-.▲▼"
    shapes = {tuple(big(letter, large=True)) for letter in letters}
    assert len(shapes) == len(letters)


def test_there_is_a_large_size_where_there_is_room():
    assert rows_needed(200, 60) == 6 and rows_needed(80, 24) == 4 and rows_needed(50, 15) == 4
    assert rows_needed(80, 8) == 2


def test_how_strong_a_score_is():
    assert strength(5.0, 4.8) == "1.0 x threshold, weak"
    assert strength(9.6, 4.8) == "2.0 x threshold, clear"
    assert strength(48.0, 4.8) == "10.0 x threshold, strong"


def test_help_takes_the_place_of_the_strip_and_leaves_the_answer():
    readout = busy()
    readout.take(replace(alert("settled", -1, "ferrous", number=9), peak_s=29.0))
    readout.facts.help_shown = True
    text = "\n".join(rendered(readout, 80, 24))
    assert big("FERROUS")[1] in text and "freeze the baseline" in text and "sign confidence" in text
    assert "q  " in text and "quit" in text and "never for ordnance" in text


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
    assert "25 000.001 Hz " in row(readout, "coil")  # the last reading's
    for uncertainty_hz, words in (
        (0.0123, "25 028.227 ± 0.012 Hz"),
        (0.9, "25 028.23 ± 0.90 Hz"),
        (1.2e-5, "25 028.226790 ± 0.000012 Hz"),
    ):
        readout.estimate = lambda u=uncertainty_hz: Estimate(25_028.22679, u, 1.0)
        assert words in row(readout, "coil") and "baseline 25 000.000 Hz" in row(readout, "coil")
        assert f", {words}, drift" in status_line(readout)


def test_every_flag_of_the_board_is_a_word_in_sight():
    assert "flagged 0" in row(busy(), "link")
    readout = busy(faults={word: 9 for _, word in records.FAULTS})
    assert f"flagged {9 * len(records.FAULTS)}" in row(readout, "link")
    for _, word in records.FAULTS:
        assert f"{word} 9" in row(readout, "flagged")
        assert f", {word} 9, " in status_line(readout)


@pytest.mark.parametrize(("problem", "stopped", "word"), [("unplugged", False, "NO DATA"), ("", True, "STOPPED")])
def test_an_old_reading_is_not_shown_as_the_present_one(problem, stopped, word):
    readout = busy(stopped=stopped)
    readout.take(point(30.0, 40.0))
    readout.facts.problem = problem
    text = "\n".join(rendered(readout, 80, 24))
    assert "– ppm" in row(readout, "now") and big(word)[1] in text
    assert "25 001" not in row(readout, "coil")


def resting(frozen_s=None, held=False, hold_from_ppm=8.04) -> Readout:
    readout = busy(hold_from_ppm=hold_from_ppm)
    readout.take(point(60.0, 9.0, held=held))
    if frozen_s is not None:
        readout.facts.frozen_since_host_s = readout.facts.host_s - frozen_s
    return readout


@pytest.mark.parametrize(
    ("readout", "words"),
    [
        (resting(), "tracking; auto-hold from 8.0 ppm on"),
        (resting(hold_from_ppm=104.0), "tracking; no auto-hold below 104 ppm: use f"),
        (resting(hold_from_ppm=None), "tracking"),
        (resting(held=True), "HELD by itself; f freezes it until g"),
        (resting(frozen_s=3.2), "FROZEN 0:03: good for 4 s outdoors, 9 s on a bench"),
        (resting(frozen_s=14.0, held=True), "FROZEN 0:14: may be 1 ppm off by now, f again"),
    ],
)
def test_what_the_baseline_does_and_how_far_it_can_be_trusted(readout, words):
    for columns, rows in ((60, 18), (80, 24), (120, 40)):
        assert row(readout, "baseline", columns, rows).strip() == f"baseline {words}"
    assert ("ppm" in readout.hold_words()) == (readout.chain.hold_from_ppm is not None)
    resting_now = readout.frozen_s() is not None or readout.point.held
    for columns, short in ((60, "cross at right angles: loudest point; long: ends"), (80, "loudest at its ends")):
        assert (short in "\n".join(rendered(readout, columns, 24))) == resting_now


def test_whether_there_is_a_noise_profile_and_whether_it_is_of_this_soil():
    def texts(columns, profile, roughness):
        readout = busy(roughness=roughness)
        readout.facts.noise_profile = profile
        return row(readout, "soil", columns)

    for columns in (80, 120):
        assert "no noise profile" in texts(columns, False, None)
        assert texts(columns, True, 1.6).rstrip().endswith(" noise profile")
    assert "12x rougher: sweep" in texts(80, True, 12.34)
    assert "12x the noise of its profile: sweep again" in texts(120, True, 12.34)


@pytest.mark.parametrize(("columns", "rows"), [(40, 10), (60, 10), (80, 12)])
def test_the_age_of_a_frozen_baseline_is_in_sight(columns, rows):
    assert "FROZEN 1:05" in "\n".join(rendered(resting(frozen_s=65.0), columns, rows))


def test_repeated_passes_are_reported_by_screen_and_line():
    readout = busy()
    once, thrice = (replace(alert("final", 1, "non-ferrous", (), 10.5, 9), seen=n, peak_s=29.0) for n in (1, 3))
    for final, repeated in ((once, False), (thrice, True)):
        readout.take(final)
        text = "\n".join(rendered(readout, 120, 40))
        assert ("seen 3 times" in text) == repeated
        assert ("3x" in text) == repeated
        assert ("seen 3 times" in event_line(final)[1]) == repeated


def test_a_fixed_threshold_is_shown_as_one():
    readout = busy(false_alarms_per_minute=None, thresholds=Thresholds(4.8, 4.8), threshold_ppm=None)
    assert row(readout, "alarms").split() == ["alarms", "fixed", "threshold", "threshold", "4.80", "σ"]
    assert "fixed threshold, threshold 4.80 σ" in status_line(readout)


def test_screen_and_line_say_how_rare_an_alert_is():
    readout = busy()
    for rarity_min, words in ((None, "rarity not known yet"), (4.0, "noise: about once in 4 min")):
        readout.take(replace(alert("final", 1, "non-ferrous", (), 10.5, 9), peak_s=29.0, rarity_min=rarity_min))
        assert words in "\n".join(rendered(readout, 80, 24))
        assert rarity_words(rarity_min) in event_line(readout.alerts[-1])[1]
    assert "6 broad dips taken for soil or a lifted coil" in status_line(readout)


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
    assert "▼ fell -8.00 ppm (-0.200 Hz), ferrous response, " in lines[2]
    assert "gap of 3.0 s: unplugged, measured by the host's clock" in lines[4]
    assert lines[-1].startswith("status 0:00")
    assert quiet.getvalue().splitlines() == [f"{'':>9} warning: the firmware is older than this program"]


def test_the_picture_in_the_readme_is_that_of_the_screen():
    """Drawn again from the same simulated seconds: `python tests/support/screen_of_a_scene.py` after a change."""
    assert PICTURE.read_text(encoding="utf-8") == svg()
