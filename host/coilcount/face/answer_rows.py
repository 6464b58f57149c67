"""The answer, large: what can be read from two metres, and one line under it for whoever looks closer."""

from rich.text import Text

from coilcount.face.big_text import LARGE_ROWS, SMALL_ROWS, big, width
from coilcount.face.palette import Palette
from coilcount.face.score import strength
from coilcount.live import readout as r
from coilcount.live.rate_words import rarity_short
from coilcount.model import Thresholds

_LARGE_FROM = (150, 40)  # columns and rows of a terminal with room for the large letters
_MARGIN = 1


def rows_needed(columns: int, rows: int) -> int:
    """How many rows the answer takes on a terminal of this size; the same whatever the answer is."""
    if rows < 12 or columns < 30:
        return 2
    return (LARGE_ROWS if columns >= _LARGE_FROM[0] and rows >= _LARGE_FROM[1] else SMALL_ROWS) + 1


def answer_rows(readout: r.Readout, palette: Palette, columns: int, rows: int) -> list[Text]:
    """The answer in rows_needed() lines of at most `columns` columns."""
    answer = readout.answer()
    style = palette.sign(answer.sign) if answer.fresh else palette.quiet
    needed = rows_needed(columns, rows)
    thresholds = readout.chain.thresholds
    if needed == 2:
        return [_plain(answer, style), _under(answer, columns, thresholds, palette)]
    large = needed == LARGE_ROWS + 1
    whole = " ".join(part for part in (r.GLYPH[answer.sign] if answer.sign else "", answer.word, _peak(answer)) if part)
    if width(whole, large) + 2 * _MARGIN <= columns:
        lines = [Text(" " * _MARGIN).append(row, style) for row in big(whole, large)]
        return [*lines, _under(answer, columns, thresholds, palette)]
    return [*_beside(answer, style, palette, columns), Text()]


def _peak(answer: r.Answer) -> str:
    """Three digits without a sign: the arrow says the direction."""
    if answer.peak_ppm is None:
        return ""
    size = abs(answer.peak_ppm)
    return f"{size:.0f}" if size >= 99.95 else f"{size:.1f}" if size >= 9.995 else f"{size:.2f}"


def _plain(answer: r.Answer, style) -> Text:
    peak = "" if answer.peak_ppm is None else f"  {answer.peak_ppm:+.2f} ppm"
    return Text(f" {r.GLYPH[answer.sign]} ").append(f"{answer.word or '–'}{peak}", style)


def _age(answer: r.Answer) -> str:
    return "now" if answer.age_s is None else f"{answer.age_s:.0f} s ago"


def _under(answer: r.Answer, columns: int, thresholds: Thresholds, palette: Palette) -> Text:
    """The line under the answer; what matters least is left out first, and nothing changes its column."""
    if answer.peak_ppm is None:
        return Text(f" {answer.note}", palette.quiet)
    alert = answer.alert
    if alert is None:
        return Text(f" {answer.peak_ppm:+9.2f} ppm {answer.peak_hz:+8.3f} Hz   {answer.note}", palette.quiet)
    sure = "–" if alert.confidence is None else f"{alert.confidence:.0%}"
    fields = [
        f"{_age(answer):>8}",
        f"{answer.peak_ppm:+9.2f} ppm",
        f"sign confidence {sure:>4}",
        f"{rarity_short(alert):<29}",
        f"{strength(alert.score, thresholds.of(alert.sign)):<24}",
        f"{r.seen_words(alert):<13}",
        f"{answer.peak_hz:+8.3f} Hz",
        f"width {alert.width_s:.2f} s",
        answer.note,
    ]
    if alert.response == "uncertain" or columns >= 150:
        # The reasons are the answer here.
        fields[3:] = [answer.note, *fields[3:-1]]
    line = ""
    for field in fields:
        if field.strip() and len(line) + 2 + len(field.rstrip()) < columns:
            line += "  " + field
    return Text(line[1:], palette.quiet)


def _beside(answer: r.Answer, style, palette: Palette, columns: int) -> list[Text]:
    """Arrow and peak in large letters, and the word beside them: for a terminal too narrow for a large word."""
    mark = r.GLYPH[answer.sign] if answer.sign else "?" if answer.word else ""
    rows = big(" ".join(part for part in (mark, _peak(answer)) if part)) if mark else [""] * SMALL_ROWS
    alert = answer.alert
    sure = "" if alert is None or alert.confidence is None else f"sign confidence {alert.confidence:.0%}"
    right = [answer.word, "" if answer.peak_ppm is None else f"peak {_age(answer)}", sure or answer.note]
    lines = []
    for row, text, style_right in zip(rows, right, (style, palette.quiet, palette.quiet), strict=True):
        line = Text(" " * _MARGIN).append(row, style)
        lines.append(line.append("   " if row else "").append(text, style_right))
    return lines
