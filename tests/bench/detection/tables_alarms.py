"""Tables of the alerts on ground where nothing is: false alarms, their stated rarity, strays, broad dips."""

from collections.abc import Sequence

import numpy as np
import table
from coilcount.tracker.alert import BROAD
from score import Found
from study import Point, Result
from tables_found import judged, mean, over
from trackers import NO_BREADTH, WARM_TRACKER

# Bands of the rarity that an alert states, in minutes.  Chosen by hand: three to a factor of 30.
RARITY_BANDS = ((1 / 3, 1.0), (1.0, 10 / 3), (10 / 3, 10.0), (10.0, np.inf))
RARITY_RATE = 10.0  # the setting whose alerts show the rarity
# The bands of the stray alerts were chosen by hand.
AWAY_BANDS = ((0.0, 0.6), (0.6, 1.2), (1.2, 2.5), (2.5, np.inf))  # seconds
STRONG_BANDS = ((0.0, 12.0), (12.0, 50.0), (50.0, 200.0), (200.0, np.inf))  # d' against the oscillator alone
STRONG = 50.0  # d' of a strong object; chosen by hand


def show(results: Sequence[Result]) -> None:
    """Print all tables of this module."""
    for name, points in results[0].points.items():
        rates(results, name, sorted(points))
        lasting(results, name, sorted(points))
    rarity(results)
    for name in results[0].points:
        strays(results, name)
    broad(results)


def rates(results: Sequence[Result], name: str, settings: Sequence[float]) -> None:
    """Print the false alarms of a tracker by condition, and the passes found, at each setting of the rate."""
    rows = []
    for result in results:
        cells = [table.rate(result.points[name][n].false_alarms(), result.clean_minutes) for n in settings]
        shares = [table.percent(mean(found_hits(result, result.points[name][n]))) for n in settings]
        rows.append([result.name, *cells, *shares])
    totals = [sum(result.points[name][n].false_alarms() for result in results) for n in settings]
    minutes = sum(result.clean_minutes for result in results)
    rows.append([
        "mean",
        *(table.rate(total, minutes) for total in totals),
        *(table.percent(over([found_hits(result, result.points[name][n]) for result in results])) for n in settings),
    ])  # fmt: skip
    words = [f"N = {n:g}" for n in settings]
    table.show(
        f"{name}: false alarms and passes found at the setting of N a minute",
        ["condition", *(f"false alarms, {word}" for word in words), *(f"found, {word}" for word in words)], rows,
        "False alarms a minute [95 % Poisson interval] (count). Highest: "
        + ", ".join(_highest(results, name, n, word) for n, word in zip(settings, words, strict=True)) + ".",
    )  # fmt: skip


def lasting(results: Sequence[Result], name: str, settings: Sequence[float]) -> None:
    """Print the same false alarms without those that ended as broad dips."""
    counts = [[result.points[name][n].lasting_false_alarms() for n in settings] for result in results]
    rows = [
        [result.name, *(table.rate(count, result.clean_minutes) for count in row)]
        for result, row in zip(results, counts, strict=True)
    ]
    minutes = sum(result.clean_minutes for result in results)
    rows.append(["mean", *(table.rate(sum(column), minutes) for column in zip(*counts, strict=True))])
    table.show(
        f"{name}: false alarms that do not end as broad dips", ["condition", *(f"N = {n:g}" for n in settings)], rows,
        "False alarms a minute [95 % Poisson interval] (count).",
    )  # fmt: skip


def _highest(results, name, n, word) -> str:
    rates_ = [result.points[name][n].false_alarms() / result.clean_minutes for result in results]
    return f"{word} {max(rates_):.2f} a minute ({results[int(np.argmax(rates_))].name})"


def found_hits(result: Result, point: Point) -> np.ndarray:
    return np.array([alert is not None for alert in point.found], dtype=bool)[judged(result)]


def rarity(results: Sequence[Result]) -> None:
    """Print how often alerts with a stated rarity came on clean soil, beside how often they should come."""
    for name, points in results[0].points.items():
        if RARITY_RATE not in points:
            continue
        ratios = [_rarity(results, name), *(_rarity([result], name) for result in results)]
        if not any(n for n, _ in ratios[0]):
            continue  # it is not known in the first minutes
        rows = []
        for word, row in zip(("all", *(result.name for result in results)), ratios, strict=True):
            known = [f"{n / promised:.2f} ({n})" for n, promised in row]
            rows.append([word, *known, str(_unknown(results if word == "all" else [_named(results, word)], name))])
        near = [sum(1 / 3 <= n / promised <= 3 for n, promised in band) for band in zip(*ratios[1:], strict=True)]
        rows.append(["within a factor of 3", *(f"{n} of {len(results)} conditions" for n in near), ""])
        words = [f"once in {_band(round(low, 2), round(high, 2))} min" for low, high in RARITY_BANDS]
        table.show(
            f"{name}: alerts on clean soil, by the rarity that they state", ["condition", *words, "not known"], rows,
            "Number that came, over the number that should come (number that came). Alerts that state once in T "
            "minutes, T from T1 to T2, should come 1/T1 - 1/T2 times a minute. The last column has no rarity. Setting: "
            f"N = {RARITY_RATE:g}.",
        )  # fmt: skip


def _rarity(results: Sequence[Result], name: str) -> list[tuple[int, float]]:
    """Return for each of RARITY_BANDS how many alerts stated it, and how many should come."""
    stated = [alert.rarity_min for alert in _clean_alerts(results, name) if alert.rarity_min is not None]
    minutes = sum(result.clean_minutes for result in results)
    return [
        (sum(low <= value < high for value in stated), minutes * (1 / low - 1 / high)) for low, high in RARITY_BANDS
    ]


def _unknown(results: Sequence[Result], name: str) -> int:
    return sum(alert.rarity_min is None for alert in _clean_alerts(results, name))


def _clean_alerts(results: Sequence[Result], name: str) -> list[Found]:
    return [a for r in results for run in r.points[name][RARITY_RATE].clean for a in run]


def _named(results: Sequence[Result], word: str) -> Result:
    return next(result for result in results if result.name == word)


def strays(results: Sequence[Result], name: str) -> None:
    """Print the alerts on swept ground that belong to no pass, by distance and strength of the object beside them."""
    minutes = sum(result.swept_minutes for result in results)
    every = [stray for result in results for stray in result.points[name][1.0].strays]
    rows = []
    for low, high in STRONG_BANDS:
        some = [stray for stray in every if low <= stray.strongest < high]
        cells = [sum(a <= stray.away_s < b for stray in some) / minutes for a, b in AWAY_BANDS]
        rows.append([_band(low, high), *(f"{value:.2f}" for value in cells), table.rate(len(some), minutes)])
    cells = [sum(a <= stray.away_s < b for stray in every) / minutes for a, b in AWAY_BANDS]
    rows.append(["all", *(f"{value:.2f}" for value in cells), table.rate(len(every), minutes)])
    beside = sum(stray.strongest >= STRONG for stray in every)
    clean = sum(result.points[name][1.0].false_alarms() for result in results)
    clean_rate = clean / sum(result.clean_minutes for result in results)
    table.show(
        f"{name}: stray alerts, a minute of swept ground",
        ["largest d' within 4 s", *(f"{_band(*band)} s away" for band in AWAY_BANDS), "all"], rows,
        "Alerts that belong to no pass, by the time to the nearest pass and by the strongest pass within 4 s. Setting: "
        f"N = 1. Within 4 s of a pass with d' of at least {STRONG:g}: {table.rate(beside, minutes)}. "
        f"Without objects: {clean_rate:.2f} a minute.",
    )  # fmt: skip
    by_condition = [
        [result.name, table.rate(len(result.points[name][1.0].strays), result.swept_minutes),
         table.rate(sum(s.strongest >= STRONG for s in result.points[name][1.0].strays), result.swept_minutes)]
        for result in results
    ]  # fmt: skip
    head = ["condition", "all", f"within 4 s of d' of at least {STRONG:g}"]
    table.show(f"{name}: stray alerts by condition, a minute of swept ground", head, by_condition)


def _band(low: float, high: float) -> str:
    return f"at least {low:g}" if high == np.inf else f"{low:g} to {high:g}"


def broad(results: Sequence[Result]) -> None:
    """Print what the test of breadth does to false alarms and to passes, of the warm tracker at 1 a minute."""
    name, without = WARM_TRACKER.name, NO_BREADTH.name
    if name not in results[0].points or without not in results[0].points:
        return
    rows = [_broad_row(result.name, [result], name, without) for result in results]
    rows.append(_broad_row("all", results, name, without))
    table.show(
        "Broad dips",
        ["condition", "dips told apart", "of these raised, ended as uncertain", "false alarms", "without the test",
         "passes found", "without the test", "lost by the test", "found, ended as uncertain"], rows,
        "warm, N = 1. Rates a minute without objects [95 % Poisson interval] (count). Lost: found without the test, "
        "and not with it.",
    )  # fmt: skip


def _broad_row(word: str, results: Sequence[Result], name: str, without: str) -> list[str]:
    minutes = sum(result.clean_minutes for result in results)
    pairs = [(result.points[name][1.0], result.points[without][1.0], judged(result)) for result in results]
    ended = sum(BROAD in alert.reasons for own, _, _ in pairs for run in own.clean for alert in run)
    passes = [
        (alert, other)
        for own, plain, which in pairs
        for alert, other, yes in zip(own.found, plain.found, which, strict=True)
        if yes
    ]
    return [
        word,
        table.rate(sum(own.clean_broad for own, _, _ in pairs), minutes),
        table.rate(ended, minutes),
        table.rate(sum(own.false_alarms() for own, _, _ in pairs), minutes),
        table.rate(sum(plain.false_alarms() for _, plain, _ in pairs), minutes),
        str(sum(alert is not None for alert, _ in passes)),
        str(sum(other is not None for _, other in passes)),
        f"{sum(alert is None and other is not None for alert, other in passes)} of {len(passes)}",
        str(sum(alert is not None and BROAD in alert.reasons for alert, _ in passes)),
    ]
