"""The alerts of a run as a table that fits 80 columns; without colours if the output is no terminal."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.palette import SIGN_COLOUR
from coilcount.face.score import STRONG_FROM, WEAK_BELOW, beside_a_step, times_words
from coilcount.face.times import instant
from coilcount.live import readout as r
from coilcount.live.rate_words import rarity_cell
from coilcount.model import BROAD_DIP, Alert, Hold, MarkMade, Output, Silence
from coilcount.text import printable

_WIDEST, _PLAIN_WIDTH = 100, 80
# Alerts that follow one another within this time, s, are likely of one pass.  Chosen by hand: a pass at 0.5 m/s over
# an object near the coil lasts about half a second, and its lobes raise alerts of their own.
TOGETHER_S = 1.0
MOST = 300  # characters of a cell: a mark may be as long as its writer likes

SIGN = (
    f"{r.RISE} rose: {r.RESPONSE_WORDS['non-ferrous']}. {r.FALL} fell: {r.RESPONSE_WORDS['ferrous']}. The sign says "
    "which way the inductance went, not what the metal is."
)
COLUMNS = (
    "time: of the peak. Hz, ppm: its shift from the baseline. conf.: sign confidence, the probability that the sign is "
    "right. score: how far the alert stands above the expected noise, as a multiple of the threshold; weak below "
    f"{WEAK_BELOW:g}x, strong from {STRONG_FROM:g}x on. rare: noise alone gives such a score about once in this many "
    "minutes; ? in the first two minutes, when it is not known yet."
)
TOGETHER = "┐│┘ alerts within a second of one another: likely one object or one pass."
SEEN = "2×, 3×, ...: number of passes in a row with this sign, within 4 s of one another."
DIP = "– under rare: a dip of the soil or of a lifted coil is no noise, so it has no rarity."
STEP = (
    "* beside a sudden change. The score compares each reading with those before and after it. Here those were far "
    "off, while the coil itself read the baseline or the other sign. This happens when the coil is put over something, "
    "rests there, or leaves. Such an alert is no object of its own."
)


@dataclass(frozen=True)
class _Row:
    time_s: float
    sign: int
    cells: tuple[str, ...]
    together: str = ""  # "┐", "│", "┘" if the row belongs to its neighbours


def print_table(
    outputs: Sequence[Output], out: TextIO, left_out: str = "", threshold_of: Callable[[int], float] = lambda _: 0.0
) -> None:
    """Final alerts, holds, gaps and marks in the order of time, and under them what the columns mean.

    left_out: a sentence on the rows that are not shown; threshold_of: alert number to the threshold (sigma) that was in
    force when the alert was raised, 0 if it is not known.
    """
    console = SafeConsole(out)
    console.width = min(_WIDEST, console.width) if console.is_terminal else _PLAIN_WIDTH
    alerts = sorted(
        (output for output in outputs if isinstance(output, Alert) and output.stage == "final"),
        key=lambda alert: (alert.peak_s, alert.id),
    )
    glyphs = _together([alert.peak_s for alert in alerts])
    rows = [
        _Row(alert.peak_s, alert.sign, _alert_cells(alert, threshold_of(alert.id)), glyph)
        for alert, glyph in zip(alerts, glyphs, strict=True)
    ]
    rows += [row for row in map(_other_row, outputs) if row is not None]
    if not rows:
        console.print("no alerts")
        return
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column("no.", justify="right", no_wrap=True)
    table.add_column("time ", justify="right", no_wrap=True)
    table.add_column("went", no_wrap=True)
    for name in ("Hz", "ppm"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("suggests")
    for name in ("conf.", "score", "rare"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in sorted(rows, key=lambda row: row.time_s):
        number, time, *cells = row.cells
        cells = (number, f"{time}{row.together or ' '}", *cells)
        table.add_row(*(printable(cell, MOST) for cell in cells), style=SIGN_COLOUR[row.sign])
    console.print(table)
    if left_out:
        console.print(left_out)
    if alerts:
        console.print(SIGN, style="dim")
        console.print(COLUMNS, style="dim")
    if any(alert.seen > 1 for alert in alerts):
        console.print(SEEN, style="dim")
    if any(glyphs):
        console.print(TOGETHER, style="dim")
    if any(BROAD_DIP in alert.reasons for alert in alerts):
        console.print(DIP, style="dim")
    if any(map(beside_a_step, alerts)):
        console.print(STEP, style="dim")


def _together(times_s: Sequence[float]) -> list[str]:
    """For each of the rising times a part of a bracket that joins those within TOGETHER_S of the one before."""
    joined = [later - earlier <= TOGETHER_S for earlier, later in itertools.pairwise(times_s)]
    # (joined to the row above, joined to the row below): the glyph
    glyphs = {(False, False): "", (False, True): "┐", (True, True): "│", (True, False): "┘"}
    pairs = zip([False, *joined], [*joined, False], strict=True)
    return [glyphs[pair] for pair in pairs][: len(times_s)]


def _alert_cells(alert: Alert, threshold: float) -> tuple[str, ...]:
    text = r.response_words(alert) + (" (still open)" if alert.open else "")
    went = f"{r.GLYPH[alert.sign]} {r.WENT[alert.sign]}" + (f" {alert.seen}×" if alert.seen > 1 else "")
    score = times_words(alert.score, threshold) if threshold else f"{alert.score:.1f} σ"
    return (
        *(str(alert.id), instant(alert.peak_s), went),
        *(_signed(alert.peak_shift_hz, 3), _signed(alert.peak_shift_ppm, 2)),
        *(text + (" *" if beside_a_step(alert) else ""), confidence_words(alert), score),
        rarity_cell(alert),
    )


def _other_row(output: Output) -> _Row | None:
    """The row of a hold, a gap or a mark; None for any other output."""
    match output:
        case Hold(stage="final"):
            end = "the end" if output.end_s is None else instant(output.end_s)
            time_s, kind, text = output.start_s, "hold", f"baseline held until {end}"
        case Silence():
            text = f"{output.reason}, until {'about ' if output.bridged else ''}{instant(output.end_s)}"
            time_s, kind = output.start_s, "gap"
        case MarkMade():
            time_s, kind, text = output.time_s, "mark", output.text
        case _:
            return None
    return _Row(time_s, 0, ("", instant(time_s), kind, "", "", text, "", "", ""))


def confidence_words(alert: Alert) -> str:
    """The sign confidence in per cent, a dash if there is none."""
    return "–" if alert.confidence is None else f"{alert.confidence:.0%}"


def _signed(value: float, places: int) -> str:
    """A value with its sign; a value that rounds to nothing is 0 without one."""
    text = f"{value:+.{places}f}"
    return text if float(text) else text[1:]
