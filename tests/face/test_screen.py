"""The screen, rendered at fixed sizes; no terminal and no clock."""

import io
from dataclasses import replace

import pytest
from coilcount.face.big_text import big
from coilcount.face.palette import THEMES
from coilcount.face.plain import event_line, status_line
from coilcount.face.screen import draw
from coilcount.face.strip import level, scale
from coilcount.live.rate_words import rarity_words
from coilcount.live.readout import Readout
from coilcount.model import BROAD_DIP, Thresholds
from coilcount.readings.frequency import Estimate
from coilwire import records
from readouts import alert, busy, point, rendered, row
from rich.console import Console, Group
from screen_of_a_scene import PICTURE, svg

SIZES = [(80, 24), (120, 40), (60, 24), (50, 15), (200, 60), (80, 10), (40, 6), (20, 3)]


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
        assert rarity_words(readout.alerts[-1]) in event_line(readout.alerts[-1])[1]
    dip = replace(alert("final", -1, reasons=(BROAD_DIP,), released_s=10.5, number=9), peak_s=29.5)
    readout.take(dip)
    assert "12.5 sigma, until" in event_line(dip)[1] and BROAD_DIP in event_line(dip)[1]
    for columns in (80, 120, 160):
        of_dip = [line for line in rendered(readout, columns, 24) if "-8.00 ppm" in line]
        assert len(of_dip) == 2 and "rarity" not in "".join(of_dip)  # under the answer, and in the list of alerts
    assert "6 broad dips taken for soil or a lifted coil" in status_line(readout)


def test_the_picture_in_the_readme_is_that_of_the_screen():
    """Drawn again from the same simulated seconds: `python tests/support/screen_of_a_scene.py` after a change."""
    assert PICTURE.read_text(encoding="utf-8") == svg()
