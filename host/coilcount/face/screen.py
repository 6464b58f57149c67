"""The live screen: the readout laid out for a terminal, drawn with rich a few times a second.

draw() is pure: a Readout and a size in, lines out.  One Text a row: tables and layouts cost ten times as much.
"""

from typing import Self

from rich.console import Console, Group
from rich.live import Live
from rich.style import Style
from rich.text import Text

from coilcount.face.strip import strip_rows
from coilcount.live import readout as r
from coilcount.model import Alert, Output
from coilcount.text import printable

STYLE = {sign: Style(color=colour or None, bold=True) for sign, colour in r.COLOUR.items()}
DIM = Style(dim=True)
BOLD = Style(bold=True)
WARN = Style(reverse=True)

CENTRE = "cross at right angles: loudest point; a long one: loudest at its ends"
CENTRE_SHORT = "cross at right angles: loudest point; long: ends"
_AXIS = 11  # columns of the strip's scale
_LEAST_S = 0.1  # never more than ten redraws a second


class Screen:
    """A view of the session on a terminal; use as a context manager."""

    part = "the screen"

    def __init__(self, readout: r.Readout, console: Console, redraw_hz: float) -> None:
        self._readout = readout
        self._console = console
        self._every_s = 1 / redraw_hz
        self._next_s = self._drawn_s = 0.0
        self._live = Live(
            console=console, screen=True, auto_refresh=False, redirect_stdout=False, redirect_stderr=False
        )

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    def show(self, output: Output) -> None:
        """An alert is drawn with the next step, not with the next turn."""
        if isinstance(output, Alert) and output.stage in ("raised", "settled"):
            self._next_s = min(self._next_s, self._drawn_s + _LEAST_S)

    def tick(self, host_s: float) -> None:
        """Redraw where it is time."""
        if host_s < self._next_s:
            return
        self._drawn_s = host_s
        self._next_s = host_s + self._every_s
        width, height = self._console.size
        lines = draw(self._readout, width, height, unicode=self._console.encoding.startswith("utf"))
        self._live.update(Group(*lines), refresh=True)


def draw(readout: r.Readout, width: int, height: int, unicode: bool = True) -> list[Text]:
    """At most `height` lines of at most `width` columns, the most important ones where there is little room."""
    top = [_title(readout, width), _shift(readout), *_answer(readout, width)]
    zero = [_zero(readout)]
    if readout.frozen_s() is not None:
        top, zero = top + zero, []  # its age is never out of sight
    bottom = [*_link(readout), _board(readout), *_ground(readout, width), _file(readout), _keys(readout)]
    room = height - len(top) - len(bottom) - len(zero) - 1
    if room < 0:
        lines = [*top, *_link(readout), bottom[-1]][:height]
    else:
        rows, alerts = _share(room)
        middle = [_frequency(readout), *zero]
        if rows:
            middle += strip_rows(readout, width, rows, _AXIS)
        if alerts:
            middle += _alerts(readout, alerts, width)
        padding = height - len(top) - len(middle) - len(bottom)
        lines = [*top, *middle, *[Text()] * padding, *bottom]
    lines = [_safe(line) for line in lines]
    for line in lines:
        line.no_wrap = True
        line.overflow = "crop"
        line.truncate(width)
        if not unicode:
            line.plain = _ascii(line.plain)
    return lines


def _safe(line: Text) -> Text:
    """The line without what text from outside might do to a terminal; such a line loses its styles."""
    shown = printable(line.plain)
    return line if shown == line.plain else Text(shown, line.style)


def _share(room: int) -> tuple[int, int]:
    """Rows on each side of the strip's zero line (0: no strip), and lines for alerts, out of `room` lines."""
    # The strip takes 2 n + 1 rows and a time axis, the alerts one line more than they show.
    high = [(rows, 6) for rows in range(9, 2, -1)]
    shares = (*high, (3, 5), (3, 4), (2, 4), (2, 3), (1, 3), (1, 2), (1, 0), (0, 2))
    for rows, alerts in shares:
        if 2 * rows + 2 + alerts <= room and (rows or alerts):
            return rows, alerts
    return 0, 0


def _title(readout: r.Readout, width: int) -> Text:
    facts = readout.facts
    line = Text(" coilcount ", BOLD)
    if facts.simulated:
        line.append(" SIMULATED ", WARN)
        line.append(" ")
    line.append(printable(facts.title, width))
    right = f"{r.clock(facts.host_s)} "
    line.truncate(max(0, width - len(right) - 1))
    line.append(" " * (width - line.cell_len - len(right)) + right)
    return line


def _shift(readout: r.Readout) -> Text:
    line = Text(" shift    ")
    point = readout.point_now
    if point is None:
        return line.append("– ppm", BOLD)
    sign = readout.way()
    style = STYLE[sign]
    line.append(f"{r.GLYPH[sign]}  ", style)
    line.append(f"{r.figure(point.shift_ppm, point.uncertainty_ppm)} ppm", style)
    hz = point.uncertainty_ppm * 1e-6 * point.baseline_hz
    return line.append(f"     {r.figure(point.shift_hz, hz)} Hz", style)


def _answer(readout: r.Readout, width: int) -> list[Text]:
    answer = readout.answer()
    style = STYLE[answer.sign]
    first = Text(" answer   ").append(f"{r.GLYPH[answer.sign]}  {answer.words}", style)
    second = Text(" how sure ")
    if answer.confidence is not None:
        second.append(f"{answer.confidence:.0%}", style)
    elif answer.alert is not None and answer.sign == 0:
        second.append("not yet")
    else:
        second.append("–")
    if answer.alert is not None:
        if answer.alert.seen > 1:
            second.append(f"  {r.seen_words(answer.alert)}", BOLD)
        second.append(f"    peak {answer.alert.peak_shift_ppm:+.2f} ppm    score {answer.alert.score:.1f}")
    return [first, second]


def _frequency(readout: r.Readout) -> Text:
    point = readout.point
    line = Text(" coil     ")
    line.append(readout.coil())
    return line.append(f"    baseline {r.frequency(point.baseline_hz if point else None)}")


def _zero(readout: r.Readout) -> Text:
    age_s = readout.frozen_s()
    style = WARN if age_s is not None and age_s > r.FROZEN_GOOD_S else BOLD if _stands(readout) else ""
    return Text(" zero     ").append(readout.zero(), style)


def _stands(readout: r.Readout) -> bool:
    """The baseline is frozen or held: somebody looks for the centre."""
    return readout.frozen_s() is not None or bool(readout.point and readout.point.held)


def _alerts(readout: r.Readout, lines: int, width: int) -> list[Text]:
    shown = list(readout.alerts)[-(lines - 1) :]
    if _stands(readout):
        out = [Text(" centre   " + (CENTRE if width >= 80 else CENTRE_SHORT), BOLD)]
    else:
        out = [Text(" alerts   " + ("the newest below" if shown else "none yet"), DIM)]
    for alert in shown:
        line = Text(f" {r.clock(alert.peak_s):>7}  ")
        line.append(f"{r.GLYPH[alert.sign]} {r.WENT[alert.sign]:<12}", STYLE[alert.sign])
        sure = "" if alert.confidence is None else f"{alert.confidence:.0%}"
        line.append(f"{alert.peak_shift_ppm:+8.2f} ppm  {sure:>3}  {f'{alert.seen}×' if alert.seen > 1 else '':2}  ")
        line.append(r.response_words(alert) if alert.sign else "settling…")
        out.append(line)
    return out


def _link(readout: r.Readout) -> list[Text]:
    """One line, and one more where the board flagged intervals."""
    line = _received(readout)
    faults = readout.facts.faults
    if not faults:
        return [line]
    flagged = Text(" flagged  ")
    for word, count in faults.items():
        flagged.append(f"{word} {count}  ", BOLD)
    return [line, flagged]


def _received(readout: r.Readout) -> Text:
    facts = readout.facts
    line = Text(" link     ")
    if facts.problem:
        line.append(f" {facts.problem} for {r.clock(facts.host_s - facts.problem_since_host_s)} ", WARN)
        line.append("  waiting for the board")
        return line
    line.append(f"{facts.records_per_s:.1f} records/s   ")
    # "dropped" are those that the board itself let go.
    counts = (("lost", facts.lost), ("damaged", facts.damaged), ("dropped", facts.dropped))
    rare = (("mended", facts.mended), ("repaired", facts.repaired), ("reconnected", facts.reconnections))
    for word, count in (*counts, *filter(lambda one: one[1], rare)):
        line.append(f"{word} {count}   ", BOLD if count else "")
    return line


def _board(readout: r.Readout) -> Text:
    facts = readout.facts
    drift = r.optional(readout.drift_ppm_per_min(), "+.2f", "ppm/min")
    line = Text(
        f" board    {r.optional(facts.temperature_c, '.1f', '°C')}   {r.optional(facts.supply_v, '.2f', 'V')}   "
        f"drift {drift}   noise {r.optional(facts.noise_ppm, '.3f', 'ppm')}, "
    )
    return line.append("learned" if facts.noise_learned else "not learned")


def _ground(readout: r.Readout, width: int) -> list[Text]:
    """One line where the learned noise is that of calmer ground."""
    roughness = readout.facts.roughness
    words = r.rougher_words(roughness)
    if not words:
        return []
    if width < 80:
        words = f"{roughness:.2g}x rougher than learned: sweep anew"
    return [Text(" ground   ").append(words, BOLD)]


def _file(readout: r.Readout) -> Text:
    facts = readout.facts
    if facts.warning:
        return Text(" warning  ").append(facts.warning, BOLD)
    if facts.message:
        return Text(" note     ").append(facts.message, BOLD)
    if facts.file:
        line = Text(f" file     {r.clock(facts.host_s)}, {facts.records} records in {facts.file}")
        if facts.disk_late_s > r.DISK_LATE_S:
            line.append(f"  disk {facts.disk_late_s:.0f} s late", BOLD)
        return line
    return Text(f" file     not recorded (--record FILE); {facts.records} records received", DIM)


def _keys(readout: r.Readout) -> Text:
    facts = readout.facts
    freeze = "f freeze" if facts.frozen_since_host_s is None else "f new zero  g follow"
    line = Text().append(f" keys     m mark  {freeze}  q quit  + - ", DIM)
    line.append(f"threshold {facts.raise_level:.2f} σ")
    if facts.threshold_ppm is not None:
        line.append(f" = {facts.threshold_ppm:.2f} ppm")
    return line


_PLAIN = str.maketrans({
    "▲": "^", "▼": "v", "–": "-", "±": "~", "×": "x",
    "…": ".", "σ": "s", "°": " ", "─": "-", "┈": ".", "░": "x", "│": "|",
    "┤": "|", "▁": ".", "▄": ":", "█": "#", "▔": ".", "▀": ":", "·": ".",
})  # fmt: skip


def _ascii(text: str) -> str:
    """For a terminal that has no Unicode: one plain character for each of ours."""
    return text.translate(_PLAIN).encode("ascii", "replace").decode()
