"""The strip: the shift of the last half minute as block characters around a zero line.

Above the line it rose, below it fell; columns where nothing came are marked as gaps, never joined over.
"""

import math

from rich.style import Style
from rich.text import Text

from coilcount.face.palette import Palette
from coilcount.live.readout import Column, Readout

_UP = " ▁▄█"
_DOWN = " ▔▀█"
_BAND = "┈"
_ZERO = "─"
_GAP = "░"
_MARK = "m"


def strip_rows(readout: Readout, palette: Palette, width: int, rows: int, axis: int) -> list[Text]:
    """2 rows + 1 lines of strip and one of time axis; the scale takes `axis` columns on the left."""
    columns, column_s = readout.strip(max(1, width - axis - 1))
    thresholds = readout.chain.threshold_ppm
    full = scale(columns, None if thresholds is None else max(thresholds.rise, thresholds.fall))

    def band_row(sign: int) -> int | None:
        return None if thresholds is None else min(rows - 1, math.floor(thresholds.of(sign) / full * rows))

    lines = []
    for row in range(rows - 1, -1, -1):
        label = f"{full:+g} ppm" if row == rows - 1 else "threshold" if row == band_row(1) else ""
        lines.append(_side(columns, row, rows, full, row == band_row(1), label, axis, 1, palette))
    lines.append(_zero(columns, axis, palette))
    for row in range(rows):
        label = f"{-full:+g} ppm" if row == rows - 1 else ""
        lines.append(_side(columns, row, rows, full, row == band_row(-1), label, axis, -1, palette))
    lines.append(_time_axis(len(columns), column_s, axis, palette))
    return lines


def scale(columns: list[Column], threshold_ppm: float | None) -> float:
    """Full scale in ppm: 1, 2 or 5 times a power of ten that holds every column and twice the threshold."""
    largest = max((abs(column.shift_ppm) for column in columns if column.shift_ppm is not None), default=0.0)
    largest = max(largest, 2 * (threshold_ppm or 0.0), 1e-3)
    power = 10.0 ** math.floor(math.log10(largest))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= largest * (1 - 1e-9))


def level(shift_ppm: float, full_ppm: float, row: int, rows: int) -> int:
    """How full a cell is, 0 to 3 (nothing, a trace, half, all), `row` counted from the zero line."""
    filled = abs(shift_ppm) / full_ppm * rows - row
    if filled >= 0.75:
        return 3
    if filled >= 0.3:
        return 2
    return 1 if filled >= 0.06 else 0


def _side(
    columns: list[Column],
    row: int,
    rows: int,
    full: float,
    band: bool,
    label: str,
    axis: int,
    sign: int,
    palette: Palette,
) -> Text:
    blocks = _UP if sign > 0 else _DOWN
    empty = _BAND if band else " "
    cells = []
    for column in columns:
        here = column.shift_ppm is not None and column.shift_ppm * sign > 0
        filled = level(column.shift_ppm, full, row, rows) if here else 0
        cells.append(blocks[filled] if filled else empty)
    line = Text().append(f"{label:>{axis - 2}} │", palette.quiet)
    _append_runs(line, "".join(cells), empty, palette.sign(sign), palette.quiet)
    return line


def _append_runs(line: Text, cells: str, empty: str, style: Style, quiet: Style) -> None:
    """Append cells in runs of one style: a span a run, not one a cell."""
    start = 0
    for place in range(1, len(cells) + 1):
        if place == len(cells) or (cells[place] == empty) != (cells[start] == empty):
            line.append(cells[start:place], quiet if cells[start] == empty else style)
            start = place


def _zero(columns: list[Column], axis: int, palette: Palette) -> Text:
    def cell(column: Column) -> str:
        if column.mark:
            return _MARK
        if column.gap or column.shift_ppm is None:
            return _GAP if column.gap else " "
        return _ZERO

    return Text().append(f"{'0':>{axis - 2}} ┤", palette.quiet).append("".join(cell(column) for column in columns))


def _time_axis(columns: int, column_s: float, axis: int, palette: Palette) -> Text:
    left = f"-{columns * column_s:.0f} s"
    legend = "rose above, fell below   ░ gap   m mark"
    right = "now"
    room = columns - len(left) - len(right)
    middle = legend.center(room) if room > len(legend) + 1 else " " * max(0, room)
    return Text(" " * axis + (left + middle + right)[:columns], palette.quiet)
