"""Tables of the passes that are found: shares, shares of the bound, losses, and thresholds."""

from collections.abc import Sequence

import numpy as np
import table
from score import counts
from study import BOUND, Result

RATES = (1.0, 0.1)  # false alarms a minute
STEP = 1.02  # the common factor of the thresholds for 0.1 a minute is a power of this
MOST_FURTHER = 50  # the highest power
LEAST_D_ALL = 10.0  # d' against everything of a pass that any method ought to find; chosen by hand


def positions(results: Sequence[Result], method: str, rate: float) -> list[int]:
    """Return the position of the threshold of each condition that gives `rate` false alarms a minute.

    At 1 a minute each condition has its own threshold.  For any other rate all of these are multiplied by one factor,
    so that all conditions together have that rate.
    """
    detections = [result.detections[method] for result in results]
    first = [detection.at_rate(1.0) for detection in detections]
    if rate == 1.0:
        return first
    moved = first
    for further in range(MOST_FURTHER):
        moved = [d.further(i, STEP**further) for i, d in zip(first, detections, strict=True)]
        rates = [d.clean[i] / d.minutes for i, d in zip(moved, detections, strict=True)]
        if np.mean(rates) <= rate:
            break
    return moved


def judged(result: Result) -> np.ndarray:
    """Return which passes count, shape (passes,).  Rests are left out, because they have a table of their own."""
    return np.array([counts(pass_) and not pass_.rest_s for pass_ in result.passes], dtype=bool)


def hits_at(results: Sequence[Result], method: str, rate: float) -> list[np.ndarray]:
    """Return for each condition whether each pass that counts is found at a rate."""
    return [
        result.detections[method].hit[position][judged(result)]
        for result, position in zip(results, positions(results, method, rate), strict=True)
    ]


def methods_of(results: Sequence[Result]) -> list[str]:
    return list(results[0].detections)


def show(results: Sequence[Result]) -> None:
    """Print all tables of the passes that are found."""
    for rate in RATES:
        shares(results, rate)
    for rate in RATES:
        summary(results, rate)
    thresholds(results)


def shares(results: Sequence[Result], rate: float) -> None:
    """Print the share of the passes that each method finds, by condition."""
    names = methods_of(results)
    hits = {name: hits_at(results, name, rate) for name in names}
    rows = []
    for i, result in enumerate(results):
        rows.append([result.name, int(judged(result).sum()), *(table.percent(mean(hits[name][i])) for name in names)])
    rows.append(["mean", sum(row[1] for row in rows), *(table.percent(over(hits[name])) for name in names)])
    table.show(
        f"Share found at {rate:g} false alarm{'s' if rate != 1 else ''} a minute", ["condition", "passes", *names], rows
    )


def summary(results: Sequence[Result], rate: float) -> None:
    """Print what each method finds beside the bound, isolated and overlapping passes apart, and its loss."""
    names = methods_of(results)
    hits = {name: hits_at(results, name, rate) for name in names}
    flags = [np.array([pass_.alone for pass_ in result.passes])[judged(result)] for result in results]
    d_all = [np.array([pass_.d_all for pass_ in result.passes])[judged(result)] for result in results]
    rows = []
    for name in names:
        row = [name, table.percent(over(hits[name]))]
        if BOUND in names:
            row.append(table.percent(over(hits[name]) / over(hits[BOUND])))
            for word in (True, False):
                own = np.concatenate([hit[flag == word] for hit, flag in zip(hits[name], flags, strict=True)])
                bound = np.concatenate([hit[flag == word] for hit, flag in zip(hits[BOUND], flags, strict=True)])
                row += [table.percent(mean(own)), table.percent(mean(own) / mean(bound) if any(bound) else np.nan)]
            losses = [
                20 * np.log10(half_way(d, own) / half_way(d, bound))
                for d, own, bound in zip(d_all, hits[name], hits[BOUND], strict=True) if len(d)
            ]  # fmt: skip
            row.append(f"{np.median(losses):.1f} dB" if losses else "")
        clear = np.concatenate([hit[d >= LEAST_D_ALL] for hit, d in zip(hits[name], d_all, strict=True)])
        row.append(table.percent(mean(clear)))
        rows.append(row)
    head = ["method", "found (mean)"]
    if BOUND in names:
        head += ["of the bound", "isolated", "of the bound", "overlapping", "of the bound", "loss"]
    isolated = sum(int(flag.sum()) for flag in flags)
    table.show(
        f"All conditions at {rate:g} a minute", [*head, f"d' of at least {LEAST_D_ALL:g}"], rows,
        f"{isolated} isolated passes, {sum(map(len, flags)) - isolated} overlapping ones.",
    )  # fmt: skip


def thresholds(results: Sequence[Result]) -> None:
    """Print the threshold of each tracker for 1 false alarm a minute."""
    names = [name for name in methods_of(results) if name in results[0].points]
    rows = []
    for i, result in enumerate(results):
        cells = []
        for name in names:
            at = positions(results, name, 1.0)[i]
            detection = result.detections[name]
            # The grid may not reach far enough down or up; a mark says so.
            edge = "*" if at in (0, len(detection.thresholds) - 1) else ""
            cells.append(f"{detection.thresholds[at]:.2f}{edge}")
        rows.append([result.name, *cells])
    table.show(
        "Threshold for 1 false alarm a minute, in sigma", ["condition", *names], rows,
        "*: at an end of the grid of thresholds.",
    )  # fmt: skip


def half_way(d: np.ndarray, hit: np.ndarray) -> float:
    """Find d' against everything at which half of the passes are found, by a least-squares logistic in log d'."""
    log_d = np.log(np.maximum(d, 0.3))
    best, where = np.inf, 0.0
    for middle in np.linspace(np.log(1), np.log(60), 120):
        for slope in (2.0, 4.0, 8.0):
            error = np.mean((hit - 1 / (1 + np.exp(-slope * (log_d - middle)))) ** 2)
            if error < best:
                best, where = error, middle
    return float(np.exp(where))


def mean(values: np.ndarray) -> float:
    return float(np.mean(values)) if len(values) else float("nan")


def over(hits: Sequence[np.ndarray]) -> float:
    """Return the mean share over the conditions, each with the same weight."""
    return float(np.nanmean([mean(hit) for hit in hits]))
