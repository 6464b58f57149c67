"""The report of `coilcount tune` as text that fits 80 columns, apart from names of files and objects."""

import textwrap
from pathlib import Path
from typing import TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.tune_words import (
    answer_sentences,
    cautions,
    count_words,
    outcome_words,
    percents,
    proposal,
    rate_words,
)
from coilcount.model import AnswerCounts, AtGrid, Interval95, TuneReport

_COLUMNS = 80
_MOST_KINDS = 60  # rows of objects and depths; chosen by hand
_EVERY = 3  # of the thresholds that were tried, each third is printed; chosen by hand


def print_tune(report: TuneReport, out: TextIO) -> None:
    """Print curve, choice, check on recordings left out, kinds, answers and cautions."""
    console = SafeConsole(out, _COLUMNS)
    minutes = sum(recording.minutes for recording in report.recordings)
    _say(
        console,
        f"{count_words(len(report.recordings), 'recording')}, {minutes:.1f} minutes without objects, "
        f"{count_words(report.in_force.outcome.passes, 'pass', 'es')} over objects"
        f"{' (simulated)' if report.simulated else ''}. All intervals are 95 %.",
    )
    if len(report.candidates) > 1:
        _candidates(console, report)
    _say(console, "")
    console.print(_curve(report))
    _say(console, "")
    _choice(console, report)
    _rates(console, report)
    if report.cross is not None:
        _say(console, "")
        console.print(_groups(report))
    if report.kinds:
        _say(console, "")
        place = "at the threshold marked *" if report.chosen else "at the fixed threshold nearest to those in force"
        _say(console, f"Found by object and depth, {place}:")
        console.print(_kinds(report))
        if len(report.kinds) > _MOST_KINDS:
            _say(console, f"{len(report.kinds) - _MOST_KINDS} more rows with --json")
    answers = report.answers if report.cross is None else report.cross.answers
    if any(row.found for row in answers):
        where = "on the same recordings" if report.cross is None else f"on recordings left out by {report.by}"
        _say(console, "")
        _say(console, f"Answers for the found passes, {where}:")
        console.print(_answers(answers))
        for sentence in answer_sentences(answers):
            _say(console, sentence)
    notes = cautions(report)
    if notes:
        _say(console, "")
        for note in notes:
            _say(console, note)


def _say(console: SafeConsole, text: str) -> None:
    console.print(textwrap.fill(text, _COLUMNS, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False))


def _table(*names: str, left: int = 0) -> Table:
    """A table without lines; the first `left` columns hold words, the others numbers."""
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    for number, name in enumerate(names):
        table.add_column(name, justify="left" if number < left else "right", no_wrap=True)
    return table


def _candidates(console: SafeConsole, report: TuneReport) -> None:
    table = _table("", "settings tried", "threshold", "alarms/min", "found", left=2)
    for number, candidate in enumerate(report.candidates):
        words = ", ".join(f"{name} = {_value(value)}" for name, value in candidate.changed.items()) or "in force"
        best = "*" if number == report.best else ""
        if candidate.outcome is None:
            table.add_row(best, words, "none", "", "")
            continue
        rate, share = candidate.outcome.rate, candidate.outcome.share
        table.add_row(best, words, f"{candidate.threshold:.2f}", _number(rate), _percent(share))
    _say(console, "")
    _say(console, "Settings that were tried, each at the lowest threshold that keeps the rate:")
    console.print(table)


def _curve(report: TuneReport) -> Table:
    """Every third threshold, and always the chosen one and the one in force."""
    table = _table("", "threshold", "false alarms", "a minute", "interval", "found", "share", "interval", left=1)
    chosen = report.chosen
    for number, row in enumerate(report.curve):
        is_chosen = chosen is not None and row.threshold == chosen.threshold
        is_in_force = _same(row, report.in_force)
        if number % _EVERY and not is_chosen and not is_in_force:
            continue
        table.add_row("*" * is_chosen + ">" * is_in_force, *_cells(row))
    return table


def _cells(row: AtGrid) -> list[str]:
    made = row.outcome
    return [
        f"{row.threshold:.2f}",
        str(made.false_alarms),
        _number(made.rate),
        _ends(made.rate),
        f"{made.found}/{made.passes}",
        _percent(made.share),
        percents(made.share),
    ]


def _choice(console: SafeConsole, report: TuneReport) -> None:
    wanted, chosen, in_force = report.false_alarms_per_minute, report.chosen, report.in_force
    if chosen is not None:
        rate = f"{wanted:g} false alarm{'' if wanted == 1 else 's'} a minute"
        _say(console, f"* threshold {chosen.threshold:.2f} is the lowest that keeps {rate}")
        _say(console, f"  on the recordings it was chosen on: {outcome_words(chosen.outcome)}")
        if report.cross is not None:
            _say(console, f"  on recordings left out of the choice: {outcome_words(report.cross.outcome)}")
    if in_force.asked_per_minute is None and (chosen is None or chosen.threshold != in_force.threshold):
        _say(console, f"> threshold {in_force.threshold:.2f}, in force: {outcome_words(in_force.outcome)}")


def _rates(console: SafeConsole, report: TuneReport) -> None:
    """What the rates that can be asked for give here."""
    if not report.rates:
        return
    table = _table("", "asked", "threshold", "false alarms", "a minute", "interval", "found", "share", left=1)
    for row in report.rates:
        *cells, _ = _cells(row)
        table.add_row(">" * _same(row, report.in_force), f"{row.asked_per_minute:g} a min", *cells)
    _say(console, "")
    _say(console, "The rates that can be asked for, and what they give here:")
    console.print(table)
    in_force = report.in_force
    if in_force.asked_per_minute is not None:
        _say(console, f"> {rate_words(in_force.asked_per_minute)}, in force: {outcome_words(in_force.outcome)}")
    _say(console, proposal(report))


def _same(row: AtGrid, in_force: AtGrid) -> bool:
    """True if the settings in force say this rate, or this fixed threshold."""
    if row.asked_per_minute is None and in_force.asked_per_minute is None:
        return row.threshold == in_force.threshold
    return row.asked_per_minute == in_force.asked_per_minute


def _groups(report: TuneReport) -> Table:
    table = _table(f"{report.by} left out", "threshold", "alarms", "minutes", "a minute", "interval", "found", left=1)
    names = [Path(group.group).name for group in report.cross.groups]
    short = report.by == "recording" and len(set(names)) == len(names)
    for group, name in zip(report.cross.groups, names, strict=True):
        shown, made = _short(name if short else group.group), group.outcome
        if made is None:
            table.add_row(shown, "none", "", "", "", "", "")
            continue
        table.add_row(
            shown,
            f"{group.threshold:.2f}",
            str(made.false_alarms),
            f"{made.minutes:.1f}",
            _number(made.rate),
            _ends(made.rate),
            f"{made.found}/{made.passes}",
        )
    return table


def _kinds(report: TuneReport) -> Table:
    table = _table("object", "depth cm", "found", "share", "interval", left=1)
    for kind in report.kinds[:_MOST_KINDS]:
        depth = "not given" if kind.from_cm is None else f"{kind.from_cm:g} to {kind.to_cm:g}"
        found = f"{kind.found}/{kind.passes}"
        table.add_row(_short(kind.object, 34), depth, found, _percent(kind.share), percents(kind.share))
    return table


def _answers(rows: tuple[AnswerCounts, AnswerCounts]) -> Table:
    table = _table("labelled", "found", "ferrous", "non-ferrous", "uncertain", left=1)
    for row in rows:
        if row.found:
            table.add_row(row.response, str(row.found), *_parts(row))
    return table


def _parts(row: AnswerCounts) -> list[str]:
    from_counts = (row.ferrous, row.non_ferrous, row.uncertain)
    intervals = (row.ferrous_share, row.non_ferrous_share, row.uncertain_share)
    return [f"{count} ({percents(share)})" for count, share in zip(from_counts, intervals, strict=True)]


def _value(value: object) -> str:
    return ", ".join(f"{number:g}" for number in value) if isinstance(value, tuple) else str(value)


def _short(name: str, most: int = 20) -> str:
    """A name that leaves room for the other columns: its end, because the beginnings of paths are alike."""
    return name if len(name) <= most else f"…{name[1 - most :]}"


def _number(rate: Interval95 | None) -> str:
    return "–" if rate is None else f"{rate.value:.2g}"


def _ends(rate: Interval95 | None) -> str:
    return "–" if rate is None else f"{rate.low:.2g} to {rate.high:.2g}"


def _percent(share: Interval95 | None) -> str:
    return "–" if share is None else f"{100 * share.value:.0f} %"
