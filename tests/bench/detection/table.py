"""Prints tables in Markdown, so that they can be pasted into the README, and formats their figures."""

import math
from collections.abc import Iterable, Sequence

from coilcount.desk.rates import rate_interval, share_interval

SHOWN: dict[str, str] = {}  # what was printed, by its title


def show(title: str, head: Sequence[str], rows: Iterable[Sequence[str]], *notes: str) -> None:
    """Print a table with a title above it and notes below the title, and keep it in SHOWN."""
    lines = [[str(cell) for cell in row] for row in (head, *rows)]
    widths = [max(3, *(len(row[i]) for row in lines)) for i in range(len(head))]
    text = [*notes, ""] if notes else []
    for number, row in enumerate(lines):
        cells = [row[0].ljust(widths[0]), *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True))]
        text.append("| " + " | ".join(cells) + " |")
        if not number:
            rule = ["-" * (widths[0] + 2), *("-" * (width + 1) + ":" for width in widths[1:])]
            text.append("|" + "|".join(rule) + "|")
    SHOWN[title] = "\n".join(text)
    print(f"\n### {title}\n\n{SHOWN[title]}")


def percent(value: float, digits: int = 1) -> str:
    """Format a share; nothing if it is not a number."""
    return "" if math.isnan(value) else f"{100 * value:.{digits}f} %"


def share(hits: int, count: int) -> str:
    """Format hits / count with Wilson's 95 % interval."""
    if not count:
        return ""
    low, high = share_interval(hits, count)
    return f"{100 * hits / count:.1f} % [{100 * low:.1f}, {100 * high:.1f}]"


def rate(count: int, minutes: float) -> str:
    """Format a rate a minute: the rate, its exact 95 % Poisson interval, and the count."""
    if not minutes:
        return ""
    low, high = rate_interval(count, minutes)
    return f"{count / minutes:.2f} [{low:.2f}, {high:.2f}] ({count})"
