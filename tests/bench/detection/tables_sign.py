"""Tables of what the alerts say: sign, response, reasons, sign confidence, and how late they are raised."""

from collections import Counter
from collections.abc import Sequence

import numpy as np
import table
from score import Found
from series import Pass
from study import Result
from tables_found import judged

Pairs = list[tuple[Pass, Found]]
LEAST_D = 12.0  # least d' against the oscillator alone of a pass whose sign is judged; chosen by hand
CONFIDENCE_BINS = ((0, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.97), (0.97, 0.985), (0.985, 1.01))


def show(results: Sequence[Result]) -> None:
    """Print all tables of this module, for each tracker at 1 a minute."""
    signs(results)
    for name in results[0].points:
        by_condition(results, name)
    reasons(results)
    for name in results[0].points:
        confidence(results, name)


def found_pairs(results: Sequence[Result], name: str) -> Pairs:
    """Return the passes that count and are found, with their alerts."""
    return [
        (pass_, alert)
        for result in results
        for pass_, alert, yes in zip(result.passes, result.points[name][1.0].found, judged(result), strict=True)
        if yes and alert is not None
    ]


def strong(pairs: Pairs) -> Pairs:
    """Leave out weak passes, and those whose shift also goes the other way by more than half its peak."""
    return [(pass_, alert) for pass_, alert in pairs if pass_.d >= LEAST_D and not pass_.two_faced]


def signs(results: Sequence[Result]) -> None:
    """Print the shares of right signs and of uncertain answers, isolated and overlapping passes apart."""
    for word, alone in (("isolated", True), ("overlapping", False)):
        rows = []
        for name in results[0].points:
            pairs = strong([pair for pair in found_pairs(results, name) if pair[0].alone == alone])
            rows.append([name, str(len(pairs)), *sign_cells(pairs)])
        table.show(
            f"Sign of {word} passes with d' of at least {LEAST_D:g}",
            ["tracker", "found", "sign right", "uncertain", "right, of those with an answer"], rows,
        )  # fmt: skip


def sign_cells(pairs: Pairs) -> list[str]:
    given = [(pass_, alert) for pass_, alert in pairs if alert.response != "uncertain"]
    return [
        table.share(sum(alert.sign == pass_.sign for pass_, alert in pairs), len(pairs)),
        table.share(len(pairs) - len(given), len(pairs)),
        table.share(sum(alert.sign == pass_.sign for pass_, alert in given), len(given)),
    ]


def by_condition(results: Sequence[Result], name: str) -> None:
    """Print sign and latency of one tracker by condition."""
    rows = []
    groups = [(result.name, found_pairs([result], name)) for result in results]
    every = [pair for _, pairs in groups for pair in pairs]
    for word, pairs in [*groups, ("all", every), ("isolated", [pair for pair in every if pair[0].alone])]:
        late = [alert.raised_s - pass_.at_s for pass_, alert in pairs]
        times = [f"{value:+.2f} s" for value in np.quantile(late, (0.5, 0.9))] if late else ["", ""]
        rows.append([word, str(len(pairs)), *sign_cells(strong(pairs)), *times])
    table.show(
        f"{name}: sign and latency by condition",
        ["condition", "found", "sign right", "uncertain", "right, of those with an answer", "raised, median",
         "raised, 90 %"], rows,
        f"Signs: passes with d' of at least {LEAST_D:g}. Raised: after the closest approach.",
    )  # fmt: skip


def reasons(results: Sequence[Result]) -> None:
    """Print how often each reason makes an answer uncertain, and whether the sign would have been right."""
    names = list(results[0].points)
    counters = {name: (Counter(), Counter(), len(found_pairs(results, name))) for name in names}
    for name, (uses, right, _) in counters.items():
        for pass_, alert in found_pairs(results, name):
            for reason in alert.reasons:
                uses[reason] += 1
                right[reason] += alert.sign == pass_.sign
    words = sorted({reason for uses, _, _ in counters.values() for reason in uses})
    rows = [
        [word, *(f"{table.percent(uses[word] / max(n, 1))} ({right[word]} of {uses[word]})"
                 for uses, right, n in counters.values())]
        for word in words
    ]  # fmt: skip
    table.show("Reasons of uncertain answers", ["reason", *names], rows,
               "Share of the passes found (of these answers, how many had the right sign).")  # fmt: skip


def confidence(results: Sequence[Result], name: str) -> None:
    """Print the mean confidence of true alerts, and the share of them with the right sign."""
    given = [(a.confidence, a.sign == pass_.sign) for pass_, a in found_pairs(results, name) if a.confidence]
    rows = []
    for low, high in CONFIDENCE_BINS:
        some = [(value, right) for value, right in given if low <= value < high]
        if some:
            shown = np.mean([value for value, _ in some])
            rows.append([table.percent(shown), table.share(sum(right for _, right in some), len(some)), str(len(some))])
    table.show(f"{name}: sign confidence", ["confidence shown", "sign right", "alerts"], rows)
