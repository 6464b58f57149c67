"""Prints the results as tables."""

import numpy as np
from score import Found, counts, interval, share_interval
from series import Pass
from study import BOUND, FACTORS, LEARNED, TRACKER, Result

RATES = (1.0, 0.1)  # false alarms a minute
CONFIDENCE_BINS = ((0, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.97), (0.97, 0.985), (0.985, 1.01))


def factor_for(results: list[Result], method: str, rate: float) -> int:
    """Index of FACTORS: 0 for 1 a minute, where each condition has its own threshold; else one index for all."""
    if rate == 1.0:
        return 0
    for i in range(len(FACTORS)):
        pooled = sum(result.clean[method][i] / result.minutes[method] for result in results) / len(results)
        if pooled <= rate:
            return i
    return len(FACTORS) - 1


def judged(result: Result, found: list[Found | None]) -> list[tuple[Pass, Found | None]]:
    """List the passes that count, with their alerts.  Rests are left out, because they have a table of their own."""
    pairs = zip(result.passes, found, strict=True)
    return [(pass_, alert) for pass_, alert in pairs if counts(pass_) and not pass_.rest_s]


def share(pairs) -> float:
    return float(np.mean([alert is not None for _, alert in pairs])) if pairs else float("nan")


def loss_db(pairs, bound_pairs) -> float:
    """How much more signal a method needs than the bound to find half of the passes, in dB."""
    return 20 * np.log10(half_way(pairs) / half_way(bound_pairs))


def half_way(pairs) -> float:
    """Find d' against everything at which half of the passes are found, by a least-squares logistic in log d'."""
    d = np.log([max(pass_.d_all, 0.3) for pass_, _ in pairs])
    hit = np.array([alert is not None for _, alert in pairs], dtype=float)
    best, where = np.inf, 0.0
    for middle in np.linspace(np.log(1), np.log(60), 120):
        for slope in (2.0, 4.0, 8.0):
            error = np.mean((hit - 1 / (1 + np.exp(-slope * (d - middle)))) ** 2)
            if error < best:
                best, where = error, middle
    return float(np.exp(where))


def detection(results: list[Result], clean_minutes: float) -> None:
    methods = list(results[0].found)
    total = clean_minutes * len(results)
    print(f"{len(results)} test conditions, {clean_minutes:g} minutes without objects each")
    print("95 % intervals of the rates:")
    low, high = interval(round(clean_minutes), clean_minutes)
    pooled_low, pooled_high = interval(round(0.1 * total), total)
    print(f"1 false alarm a minute in one condition: {low:.2f} to {high:.2f}")
    print(f"0.1 false alarms a minute over all conditions: {pooled_low:.3f} to {pooled_high:.3f}")
    for rate in RATES:
        print(f"\nShare found at {rate:g} false alarms a minute, "
              "of passes with d' of at least 4 against the oscillator noise")  # fmt: skip
        print(f"  {'condition':<12}{'passes':>7}" + "".join(f"{name[:11]:>12}" for name in methods))
        indices = {name: factor_for(results, name, rate) for name in methods}
        sums = {name: [] for name in methods}
        for result in results:
            line = f"  {result.kind:<12}{len(judged(result, result.found[BOUND][0])):>7}"
            for name in methods:
                value = share(judged(result, result.found[name][indices[name]]))
                sums[name].append(value)
                line += f"{value:>12.2f}"
            print(line)
        print(f"  {'mean':<19}" + "".join(f"{np.mean(sums[name]):>12.3f}" for name in methods))
        top = np.mean(sums[BOUND])
        print(f"  {'share of bound':<19}" + "".join(f"{np.mean(sums[name]) / top:>12.3f}" for name in methods))
        everything = {name: [p for r in results for p in judged(r, r.found[name][indices[name]])] for name in methods}
        for word, alone in (("isolated", True), ("overlapping", False)):
            pairs = {
                name: [pair for pair in everything[name] if pair[0].alone == alone]
                for name in methods
            }
            if pairs[BOUND]:
                head = f"  {word + f' ({len(pairs[BOUND])})':<19}"
                print(head + "".join(f"{share(pairs[name]):>12.3f}" for name in methods))
        clear = {name: [p for p in everything[name] if p[0].d_all >= 10] for name in methods}
        print(f"  {'d_all at least 10':<19}" + "".join(f"{share(clear[name]):>12.3f}" for name in methods))
        losses = {
            name: np.median([
                loss_db(judged(r, r.found[name][indices[name]]), judged(r, r.found[BOUND][indices[BOUND]]))
                for r in results
            ])
            for name in methods
        }  # fmt: skip
        print(f"  {'loss, dB (median)':<19}" + "".join(f"{losses[name]:>12.1f}" for name in methods))
        if rate == 1.0:
            print(f"  {'sign right':<19}" + "".join(f"{sign_right(everything[name]):>12.3f}" for name in methods))
            strong = {n: [p for p in v if p[0].d >= 12 and not p[0].two_faced] for n, v in everything.items()}
            print(f"  {'... d at least 12':<19}" + "".join(f"{sign_right(strong[name]):>12.3f}" for name in methods))
    for name in (TRACKER, LEARNED):
        tracker(results, name)


def sign_right(pairs) -> float:
    right = [alert.sign == pass_.sign for pass_, alert in pairs if alert is not None]
    return float(np.mean(right)) if right else float("nan")


def tracker(results: list[Result], name: str) -> None:
    """Print the results of one tracker at its default threshold, for each condition."""
    print(f"\n{name} at the default threshold.")
    print("false alarms: alerts a minute without objects [95 % Poisson interval]; found: share of the passes")
    print("sign: share with the right sign, of the passes found with d' of at least 12")
    print("given: the same, without alerts that say uncertain; unsure: share of alerts that say uncertain")
    print("p50, p90: median and 90 % quantile of the time from the closest approach to the alert")
    print(f"  {'condition':<12}{'false alarms':>22}{'threshold 1/min':>17}{'found':>7}{'sign':>7}"
          f"{'given':>7}{'unsure':>8}{'p50 s':>7}{'p90 s':>7}")  # fmt: skip
    for result in results:
        pairs = judged(result, result.default_found[name])
        print(row(result.kind, pairs, result.default_clean[name], result.minutes[name], result.thresholds[name]))
    every = [pair for result in results for pair in judged(result, result.default_found[name])]
    clean = sum(result.default_clean[name] for result in results)
    minutes = sum(result.minutes[name] for result in results)
    print(row("all", every, clean, minutes, float("nan")))
    print(row("isolated", [pair for pair in every if pair[0].alone], clean, minutes, float("nan")))
    calibration(every)


def row(name, pairs, clean, minutes, threshold) -> str:
    found = [(pass_, alert) for pass_, alert in pairs if alert is not None]
    strong = [(pass_, alert) for pass_, alert in found if pass_.d >= 12 and not pass_.two_faced]
    given = [(pass_, alert) for pass_, alert in strong if alert.response != "uncertain"]
    late = np.array([alert.raised_s - pass_.at_s for pass_, alert in found])
    low, high = interval(clean, minutes)
    return (
        f"  {name:<12}{f'{clean / minutes:.2f} [{low:.2f}, {high:.2f}]':>22}{threshold:>17.2f}{share(pairs):>7.2f}"
        f"{sign_right(strong):>7.3f}{sign_right(given):>7.3f}{1 - len(given) / max(len(strong), 1):>8.3f}"
        f"{np.median(late):>+7.2f}{np.quantile(late, 0.9):>+7.2f}"
    )


def calibration(pairs) -> None:
    """Print the mean confidence of true alerts, and the share of them with the right sign."""
    print("\nConfidence of true alerts: mean confidence shown, share with the right sign [95 %], number of alerts")
    given = [(alert.confidence, alert.sign == pass_.sign) for pass_, alert in pairs if alert and alert.confidence]
    for low, high in CONFIDENCE_BINS:
        some = [(confidence, right) for confidence, right in given if low <= confidence < high]
        if some:
            hits = sum(right for _, right in some)
            a, b = share_interval(hits, len(some))
            mean = np.mean([confidence for confidence, _ in some])
            print(f"  {mean:.3f}  {hits / len(some):.3f} [{a:.3f}, {b:.3f}]  n {len(some)}")


def answers(results) -> None:
    print("\nIsolated flat iron with d' of at least 30 against the oscillator noise: share called non-ferrous")
    print(f"  {'':<38}{'found':>6}{'by sign alone':>15}{'by the tracker':>15}{'ratio':>7}")
    for ground, rows in results:
        for name, n, by_sign, by_answer in rows:
            ratio = by_answer / by_sign if by_sign else float("nan")
            shares = f"{by_sign / max(n, 1):>15.3f}{by_answer / max(n, 1):>15.3f}"
            print(f"  {ground + ', ' + name:<38}{n:>6}{shares}{ratio:>7.2f}")


def depth(results) -> None:
    print("\nDepth in cm at which half of the passes over a 24 mm copper coin are found, at 1 false alarm a minute")
    print("(from the surface of the soil; the coil is 3 cm above it)")
    names = list(results[0][1])
    print(f"  {'condition':<12}" + "".join(f"{name[:15]:>17}" for name in names))
    for ground, depths in results:
        print(f"  {ground:<12}" + "".join(f"{depths[name]:>17.1f}" for name in names))


def dwell(results) -> None:
    print("\nResting over a target: share of the rest that is held with the right sign [95 % Wilson interval]")
    print("Level: shift in units of sigma_st.  Rests of one scene count as one cluster.")
    print("With the key: share of the rest with the right sign and at least half of the height")
    for rows in results:
        for row in rows:
            print("  " + row)


def again(results) -> None:
    print("\nAlerts of the first, second and later passes over one object: mean confidence,")
    print("share with the right sign [95 %], share with the right metal.  The objects include flat iron.")
    print("junk: another object every second")
    chance = [rows for ground, rows in results if ground == "junk"]
    once = [row for ground, rows in results if ground != "junk" for row in rows]
    for name, rows in [*results, ("all but junk", once), *[("with junk", once + some) for some in chance]]:
        for n in (1, 2, 3):
            seen_row(f"{name}, {n}{'+' if n == 3 else ''}", [row for row in rows if min(row.seen, 3) == n])
    for n in (1, 2, 3):
        seen_row(f"flat iron, {n}{'+' if n == 3 else ''}", [r for r in once if r.flat_iron and min(r.seen, 3) == n])


def seen_row(name, rows) -> None:
    hits, metal, n = sum(row.sign for row in rows), sum(row.metal for row in rows), max(len(rows), 1)
    low, high = share_interval(hits, len(rows))
    confidence = sum(row.confidence for row in rows) / n
    right = f"sign {hits / n:.3f} [{low:.3f}, {high:.3f}]  metal {metal / n:.3f}"
    print(f"  {name:<16} confidence {confidence:.3f}  {right}  n {len(rows)}")
