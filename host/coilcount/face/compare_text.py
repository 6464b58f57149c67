"""The report of `coilcount compare` as text that fits 80 columns."""

import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TextIO

from rich.table import Table

from coilcount.face.compare_words import beyond_doubt, conclusion, percent, rate_words, signed
from coilcount.face.console import SafeConsole
from coilcount.face.times import instant
from coilcount.model.compare import (
    FALSE_ALARMS,
    FOUND,
    SCORE,
    ComparedAlarm,
    ComparedPass,
    ComparedSide,
    ComparedTest,
    Comparison,
    LonePass,
)
from coilcount.model.noise_report import Interval95
from coilcount.text import printable

_COLUMNS = 80
_MOST = 20  # rows of a list; chosen by hand
_WIDEST_NAME = 18  # characters of an object's name in a list
NOTHING = "–"
_TESTS = {
    FOUND: "exact McNemar test",
    FALSE_ALARMS: "exact test of the rates",
    SCORE: "t test on the pairs of recordings",
}


def print_comparison(report: Comparison, out: TextIO) -> None:
    """Print both sides, their figures, the verdict, the conclusion, and where they differ: passes and alarms."""
    console = SafeConsole(out, _COLUMNS)
    for side in (report.a, report.b):
        _say(console, _head(side))
    _say(console, _pairing(report))
    console.print()
    console.print(_figures(report))
    console.print()
    for line in [*_relations(report), *_verdict(report)]:
        _say(console, line)
    console.print()
    _say(console, f"Conclusion: {conclusion(report)}")
    for line in beyond_doubt(report):
        _say(console, line)
    for title, table in _lists(report):
        console.print()
        _say(console, title)
        console.print(table)


def _say(console: SafeConsole, text: str) -> None:
    console.print(textwrap.fill(text, _COLUMNS, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False))


def _head(side: ComparedSide) -> str:
    names = [printable(file, 60) for file in side.files]
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    recordings = f"{len(names)} recording{'s' if len(names) > 1 else ''}"
    threshold = f"threshold {side.threshold:.2f}"
    if side.asked_per_minute is not None:
        alarms = f"{side.asked_per_minute:g} false alarm{'' if side.asked_per_minute == 1 else 's'}"
        threshold = f"at most {alarms} a minute, {threshold} in the median"
    if side.threshold_from_peaks is not None:
        threshold += f", computed from {side.threshold_from_peaks} peaks"
    return (
        f"{side.name}: {shown} ({recordings}, {side.minutes:.1f} minutes{', simulated' if side.simulated else ''}); "
        f"settings: {printable(side.settings, 60)}; {threshold}"
    )


def _pairing(report: Comparison) -> str:
    count = len(report.passes)
    passes = f"{count} pass{'es' if count > 1 else ''} over {report.objects} object{'s' if report.objects > 1 else ''}"
    if report.visits < count:
        passes += f", in {report.visits} visit{'s' if report.visits > 1 else ''}"
    if not count:
        text = "No passes are paired."
    elif report.same_recordings:
        text = f"The same recordings with two settings: {passes}."
    else:
        counted = "in each recording" if report.pairing == "recording" else "over all recordings"
        text = f"Paired by object, depth and number of the pass, counted {counted}: {passes}."
    lone = len(report.unpaired)
    if lone:
        text += (
            f" {lone} pass{'es have' if lone > 1 else ' has'} no partner and {'are' if lone > 1 else 'is'} left out."
        )
    return text


def _figures(report: Comparison) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    table.add_column("in brackets: 95 % interval")
    for name in ("A", "B"):
        table.add_column(name, no_wrap=True)
    tau_s = report.a.scatter_tau_s or report.b.scatter_tau_s
    rows: list[tuple[str, Callable[[ComparedSide], str]]] = [
        ("passes found", _found),
        ("false alarms a minute", _rate),
        ("half found down to, cm", _depth),
    ]
    measured: list[tuple[str, Callable[[ComparedSide], str]]] = [
        ("peak shift, ppm", lambda side: _interval(side.peak_shift_ppm)),
        ("noise of one reading, ppm", lambda side: _interval(side.noise_ppm)),
        (f"noise over {tau_s or 0:.2f} s, ppm", lambda side: _interval(side.scatter_ppm)),
        ("drift, ppm a minute", lambda side: _drift(side.drift_ppm_per_minute)),
        ("baseline, Hz", lambda side: NOTHING if side.baseline_hz is None else f"{side.baseline_hz:.1f}"),
    ]
    # Two settings on the same recordings have the same noise.
    for title, cell in rows if report.same_recordings else rows + measured:
        table.add_row(title, cell(report.a), cell(report.b))
    return table


def _found(side: ComparedSide) -> str:
    if side.found_share is None:
        return NOTHING
    low, high = side.found_share.low, side.found_share.high
    return f"{side.found} of {side.passes} ({percent(low)} to {percent(high)})"


def _rate(side: ComparedSide) -> str:
    rate = side.false_alarms_per_minute
    return NOTHING if rate is None else f"{rate_words(rate.value)} ({rate_words(rate.low)} to {rate_words(rate.high)})"


def _depth(side: ComparedSide) -> str:
    depth = side.half_depth_cm
    return "cannot be said" if depth is None else f"{depth.value:.1f} ({depth.low:.1f} to {depth.high:.1f})"


def _interval(found: Interval95 | None) -> str:
    return NOTHING if found is None else f"{found.value:.3g} ({found.low:.3g} to {found.high:.3g})"


def _drift(found: Interval95 | None) -> str:
    return NOTHING if found is None else f"{found.value:+.2g} ({found.low:+.2g} to {found.high:+.2g})"


def _relations(report: Comparison) -> list[str]:
    lines = []
    if report.passes:
        lines.append(
            f"found by both {report.both}, by A alone {report.only_a}, by B alone {report.only_b}, by neither "
            f"{report.neither}"
        )
    if report.difference is not None:
        lines.append(f"difference of the shares found, B less A: {signed(report.difference)}")
    ratio = report.rate_ratio
    if ratio is not None and report.a.false_alarms + report.b.false_alarms:
        value = "infinite" if ratio.value is None else f"{ratio.value:.2g}"
        ends = f"{ratio.low or 0:.2g} to {'infinity' if ratio.high is None else f'{ratio.high:.2g}'}"
        alone = ""
        if report.alarms_only_a is not None:
            alone = f"; raised by A alone {report.alarms_only_a}, by B alone {report.alarms_only_b}"
        lines.append(f"false alarms, B over A: {value} ({ends}){alone}")
    for name, found in (("score", report.score_ratio), ("peak shift", report.shift_ratio)):
        if found is not None and not report.same_recordings:
            ends = "" if found.low is None else f" ({found.low:.3g} to {found.high:.3g})"
            lines.append(f"{name} of the passes that both found, B over A: {found.value:.3g}{ends}")
    unknown = {f"{side.name}: {side.half_depth_unknown}" for side in (report.a, report.b) if side.half_depth_unknown}
    if unknown and report.passes:
        lines.append("range cannot be said: " + "; ".join(sorted(unknown)))
    return lines


def _verdict(report: Comparison) -> list[str]:
    lines = ["Verdict by these tests, chosen before the data; all together are wrong in at most 5 % of comparisons:"]
    lines += [f"  {test.question}: {_test(test, report.same_recordings)}" for test in report.tests]
    return lines


def _test(test: ComparedTest, same_recordings: bool) -> str:
    if test.p is None:
        return f"not tested: {test.not_tested}"
    shown = f"different, higher in {test.higher}" if test.different else "no difference shown"
    name = _TESTS[test.question]
    if same_recordings and test.question == FALSE_ALARMS:
        name = "exact McNemar test on those that one raises alone"
    return f"{shown}; {name}, p = {test.p:.2g}, for several tests {test.p_holm:.2g}"


def _lists(report: Comparison) -> list[tuple[str, Table]]:
    found = []
    for side, passes in (
        ("A", [row for row in report.passes if row.found_a and not row.found_b]),
        ("B", [row for row in report.passes if row.found_b and not row.found_a]),
    ):
        if passes:
            title = f"Found by {side} alone{_cut(passes)} (score of a missed pass: at a threshold of 2.5):"
            found.append((title, _passes(passes[:_MOST])))
    if report.unpaired:
        found.append((f"Without a partner{_cut(report.unpaired)}:", _lone(report.unpaired[:_MOST])))
    for side in "AB":
        alarms = [alarm for alarm in report.alarms if alarm.side == side and alarm.in_both is False]
        if alarms:
            found.append((f"False alarms of {side} alone{_cut(alarms)}:", _alarms(alarms[:_MOST])))
    return found


def _cut(rows: Sequence[object]) -> str:
    return f", the first {_MOST} of {len(rows)}; --json lists all" if len(rows) > _MOST else ""


def _table(*columns: str) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    for name in columns:
        left = name in ("object", "side") or "recording" in name
        table.add_column(name, justify="left" if left else "right", no_wrap=True)
    return table


def _passes(rows: Sequence[ComparedPass]) -> Table:
    one_time = all(row.file_a == row.file_b for row in rows)
    one_file = all(_file(row.file_a) == _file(row.file_b) for row in rows)
    files = ("recording",) if one_file else ("recording A", "recording B")
    times = ("time",) if one_time else ("time A", "time B")
    table = _table("object", "cm", "pass", *times, "score A", "score B", *files)
    for row in rows:
        table.add_row(
            *_object(row.object, row.depth_cm, row.number),
            *((instant(row.time_a_s),) if one_time else (instant(row.time_a_s), instant(row.time_b_s))),
            *(_score(row.score_a), _score(row.score_b)),
            *([_file(row.file_a)] if one_file else [_file(row.file_a), _file(row.file_b)]),
        )
    for column in table.columns:
        if column.justify == "right":  # a number that is cut would be another number; names may be cut
            column.min_width = max(len(str(cell)) for cell in column.cells)
    return table


def _lone(rows: Sequence[LonePass]) -> Table:
    table = _table("side", "object", "cm", "pass", "time", "found", "recording")
    for row in rows:
        name, depth, number = _object(row.object, row.depth_cm, row.number)
        table.add_row(row.side, name, depth, number, instant(row.time_s), "yes" if row.found else "no", _file(row.file))
    return table


def _alarms(rows: Sequence[ComparedAlarm]) -> Table:
    table = _table("time", "score", "recording")
    for row in rows:
        table.add_row(instant(row.time_s), _score(row.score), _file(row.file))
    return table


def _object(name: str, depth_cm: float | None, number: int) -> tuple[str, str, str]:
    return printable(name, _WIDEST_NAME), NOTHING if depth_cm is None else f"{depth_cm:.3g}", str(number)


def _score(score: float | None) -> str:
    return NOTHING if score is None else f"{score:.1f}"


def _file(path: str) -> str:
    return printable(Path(path).name, 20)
