"""Prints the figures as tables."""

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
    return [(one, alert) for one, alert in zip(result.passes, found, strict=True) if counts(one) and not one.rest_s]


def share(pairs) -> float:
    return float(np.mean([alert is not None for _, alert in pairs])) if pairs else float("nan")


def loss_db(pairs, bound_pairs) -> float:
    """How much more signal a method needs than the bound to find half of the passes, in dB."""
    return 20 * np.log10(half_way(pairs) / half_way(bound_pairs))


def half_way(pairs) -> float:
    """Find d' against everything at which half of the passes are found, by a least-squares logistic in log d'."""
    d = np.log([max(one.d_all, 0.3) for one, _ in pairs])
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
    print(f"{len(results)} kinds, {clean_minutes:g} minutes of clean ground each; a rate of 1 a minute is known there")
    low, high = interval(round(clean_minutes), clean_minutes)
    pooled_low, pooled_high = interval(round(0.1 * total), total)
    print(f"to [{low:.2f}, {high:.2f}], 0.1 a minute over all kinds together to [{pooled_low:.3f}, {pooled_high:.3f}]")
    for rate in RATES:
        print(f"\nFound at {rate:g} false alarms a minute, passes of d' 4 and more (against the oscillator alone)")
        print(f"  {'kind':<12}{'passes':>7}" + "".join(f"{name[:11]:>12}" for name in methods))
        at = {name: factor_for(results, name, rate) for name in methods}
        sums = {name: [] for name in methods}
        for result in results:
            line = f"  {result.kind:<12}{len(judged(result, result.found[BOUND][0])):>7}"
            for name in methods:
                value = share(judged(result, result.found[name][at[name]]))
                sums[name].append(value)
                line += f"{value:>12.2f}"
            print(line)
        print(f"  {'mean':<19}" + "".join(f"{np.mean(sums[name]):>12.3f}" for name in methods))
        top = np.mean(sums[BOUND])
        print(f"  {'of the bound':<19}" + "".join(f"{np.mean(sums[name]) / top:>12.3f}" for name in methods))
        for word, alone in (("isolated", True), ("overlapping", False)):
            pairs = {
                name: [pair for r in results for pair in judged(r, r.found[name][at[name]]) if pair[0].alone == alone]
                for name in methods
            }
            if pairs[BOUND]:
                head = f"  {word + f' ({len(pairs[BOUND])})':<19}"
                print(head + "".join(f"{share(pairs[name]):>12.3f}" for name in methods))
        everything = {name: [p for r in results for p in judged(r, r.found[name][at[name]])] for name in methods}
        clear = {name: [p for p in everything[name] if p[0].d_all >= 10] for name in methods}
        print(f"  {'d_all 10 and more':<19}" + "".join(f"{share(clear[name]):>12.3f}" for name in methods))
        losses = {
            name: np.median([loss_db(judged(r, r.found[name][at[name]]), judged(r, r.found[BOUND][at[BOUND]]))
                             for r in results])
            for name in methods
        }  # fmt: skip
        print(f"  {'loss, dB (median)':<19}" + "".join(f"{losses[name]:>12.1f}" for name in methods))
        if rate == 1.0:
            print(f"  {'sign right':<19}" + "".join(f"{sign_right(everything[name]):>12.3f}" for name in methods))
            strong = {n: [p for p in v if p[0].d >= 12 and not p[0].two_faced] for n, v in everything.items()}
            print(f"  {'... d 12 and more':<19}" + "".join(f"{sign_right(strong[name]):>12.3f}" for name in methods))
    for name in (TRACKER, LEARNED):
        tracker(results, name)


def sign_right(pairs) -> float:
    right = [alert.sign == one.sign for one, alert in pairs if alert is not None]
    return float(np.mean(right)) if right else float("nan")


def tracker(results: list[Result], name: str) -> None:
    """Print the results of one tracker at its default threshold, for each condition."""
    print(f"\n{name} at the default threshold: false alarms a minute on clean ground [95 % Poisson], share found; of")
    print("those found with d' >= 12 the sign right, that of answers given, share uncertain; raised after the closest")
    print("approach")
    print(f"  {'kind':<12}{'false alarms':>22}{'threshold 1/min':>17}{'found':>7}{'sign':>7}{'given':>7}{'unsure':>8}"
          f"{'p50 s':>7}{'p90 s':>7}")  # fmt: skip
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
    found = [(one, alert) for one, alert in pairs if alert is not None]
    strong = [(one, alert) for one, alert in found if one.d >= 12 and not one.two_faced]
    given = [(one, alert) for one, alert in strong if alert.response != "uncertain"]
    late = np.array([alert.raised_s - one.at_s for one, alert in found])
    low, high = interval(clean, minutes)
    return (
        f"  {name:<12}{f'{clean / minutes:.2f} [{low:.2f}, {high:.2f}]':>22}{threshold:>17.2f}{share(pairs):>7.2f}"
        f"{sign_right(strong):>7.3f}{sign_right(given):>7.3f}{1 - len(given) / max(len(strong), 1):>8.3f}"
        f"{np.median(late):>+7.2f}{np.quantile(late, 0.9):>+7.2f}"
    )


def calibration(pairs) -> None:
    """Print the mean confidence of true alerts, and the share of them with the right sign."""
    print("\nConfidence of true alerts: mean confidence shown, share with the right sign [95 %], number of alerts")
    given = [(alert.confidence, alert.sign == one.sign) for one, alert in pairs if alert and alert.confidence]
    for low, high in CONFIDENCE_BINS:
        some = [(confidence, right) for confidence, right in given if low <= confidence < high]
        if some:
            hits = sum(right for _, right in some)
            a, b = share_interval(hits, len(some))
            mean = np.mean([confidence for confidence, _ in some])
            print(f"  {mean:.3f}  {hits / len(some):.3f} [{a:.3f}, {b:.3f}]  n {len(some)}")


def answers(results) -> None:
    print("\nFlat iron that lies alone, d' (against the oscillator alone) 30 and more: called non-ferrous")
    print(f"  {'':<38}{'found':>6}{'by sign alone':>15}{'by the tracker':>15}{'ratio':>7}")
    for ground, rows in results:
        for name, n, by_sign, by_answer in rows:
            ratio = by_answer / by_sign if by_sign else float("nan")
            shares = f"{by_sign / max(n, 1):>15.3f}{by_answer / max(n, 1):>15.3f}"
            print(f"  {ground + ', ' + name:<38}{n:>6}{shares}{ratio:>7.2f}")


def depth(results) -> None:
    print("\nA 24 mm copper coin, cm below the ground (coil 3 cm above it): half found, at 1 false alarm a minute")
    names = list(results[0][1])
    print(f"  {'ground':<12}" + "".join(f"{name[:15]:>17}" for name in names))
    for ground, depths in results:
        print(f"  {ground:<12}" + "".join(f"{depths[name]:>17.1f}" for name in names))


def dwell(results) -> None:
    print("\nResting over a target: share of the rest held with the right sign, by the level in units of sigma_st,")
    print("[95 %, Wilson; rests of one scene taken together]; with the key: right sign and half the height at least")
    for rows in results:
        for row in rows:
            print("  " + row)


def again(results) -> None:
    print("\nSeen n times: mean confidence, how often the sign was right [95 %], and how often the metal was")
    print("(passes to and fro over one object, flat iron among them; junk: other objects each second)")
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
