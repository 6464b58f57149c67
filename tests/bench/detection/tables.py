"""Tables of the smaller parts: depth of a coin, flat iron, several passes over one object, rests, changes of soil."""

import table


def answers(results) -> None:
    rows = []
    for name, group in results:
        for word, n, by_sign, by_answer in group:
            ratio = f"{by_answer / by_sign:.2f}" if by_sign else ""
            rows.append([name, word, str(n), table.share(by_sign, n), table.share(by_answer, n), ratio])
    table.show(
        "Isolated flat iron: share called non-ferrous",
        ["tracker and condition", "object", "found", "by the sign alone", "by the tracker", "ratio"], rows,
        "Passes with d' of at least 30 against the oscillator alone.",
    )  # fmt: skip


def depth(results) -> None:
    names = list(results[0][1])
    rows = [
        [ground, *("{cm:.1f} [{low:.1f}, {high:.1f}]".format(**depths[name]) for name in names)]
        for ground, depths in results
    ]
    table.show(
        "Depth in cm at which half of the passes over a 24 mm copper coin are found, at 1 false alarm a minute",
        ["condition", *names], rows,
        "From the surface of the soil; the coil is 3 cm above it. [95 %, bootstrap over scenes]",
    )  # fmt: skip


def dwell(results) -> None:
    """Print the rows of dwell.study() of each condition."""
    rows = [row for rows in results for row in rows]
    table.show(
        "Resting over a target", ["condition and tracker", "figure", "value [95 %]", "of"], rows,
        "Level: shift in units of sigma_st. Held: share of the rest that is held with the right sign; the rests of one "
        "scene count as one cluster. With the key: share of the rest with the right sign and at least half the height.",
    )  # fmt: skip


def again(results) -> None:
    """Print the rows of again.study() of each condition."""
    rows = []
    for tracker in results[0][1]:
        chance = [by_tracker[tracker] for ground, by_tracker in results if ground == "junk"]
        once = [row for ground, by_tracker in results if ground != "junk" for row in by_tracker[tracker]]
        groups = [(ground, by_tracker[tracker]) for ground, by_tracker in results]
        groups += [("all but junk", once), *[("with junk", once + some) for some in chance]]
        groups.append(("flat iron", [row for row in once if row.flat_iron]))
        for name, some in groups:
            for n in (1, 2, 3):
                part = [row for row in some if min(row.seen, 3) == n]
                rows.append([tracker, name, f"{n}{' or later' if n == 3 else ''}", *_seen(part)])
    table.show(
        "Several passes over one object",
        ["tracker", "condition", "pass", "mean confidence", "sign right", "metal right", "alerts"], rows,
        "The objects include flat iron. junk: another object each second, so several passes of one sign are chance.",
    )  # fmt: skip


def _seen(rows) -> list[str]:
    n = len(rows)
    if not n:
        return ["", "", "", "0"]
    return [
        table.percent(sum(row.confidence for row in rows) / n), table.share(sum(row.sign for row in rows), n),
        table.percent(sum(row.metal for row in rows) / n), str(n),
    ]  # fmt: skip


def change(results, bands) -> None:
    """Print the false alarms after a change of soil: rows of change.study()."""
    rows = [
        [name, word, *(table.rate(count, minutes) for count, minutes in counts), table.rate(*_sum(counts, bands, 60.0))]
        for name, word, counts in results
    ]
    words = [f"{low:g} to {high:g} s" for low, high in bands]
    table.show(
        "False alarms a minute after an abrupt change of soil", ["change", "tracker", *words, "first minute"], rows,
        "[95 % Poisson interval] (count).",
    )  # fmt: skip


def _sum(counts, bands, until_s: float) -> tuple[int, float]:
    parts = [count for count, (_, high) in zip(counts, bands, strict=True) if high <= until_s]
    return sum(count for count, _ in parts), sum(minutes for _, minutes in parts)


def back(results) -> None:
    """Print the share found on calm soil after rough soil."""
    rows = [
        [name, word, *(table.share(hits, n) for hits, n in shares)]
        for name, word, shares in results
    ]
    table.show("Passes found on calm soil after rough soil", ["change", "tracker", "0 to 30 s", "30 to 120 s"], rows)
