"""Resting over a target: how long the automatic hold lasts, and the key's."""

from dataclasses import replace

import numpy as np
import trackers
from coilcount.tracker.tracker import Tracker
from kinds import KINDS
from series import INTERVAL_S, Pass, Run, data_of

GROUNDS = ("bench", "deep", "garden", "sun", "mineral")
BANDS = ((0, 2), (2, 4), (4, 8), (8, 16), (16, np.inf))
BLOCK = 5
STEP = 6
KEY_BEFORE_S = 1.2  # the key is pressed beside the target, so long before the rest
KEY_LEAST_PPM = 3.0
DEEPEST_CM = 9.0


def study(ground: str, tuning: bool, minutes: float) -> str:
    test, chosen_by = KINDS["garden"].things
    things = tuple(tuple(replace(t, deep_cm=min(t.deep_cm, DEEPEST_CM)) for t in some) for some in (test, chosen_by))
    kind = replace(KINDS[ground], name=f"dwell {ground}", every_s=6.5, rest=True, things=things)
    data = data_of(kind, tuning, minutes, minutes, None)
    sigma_ppm = sigma_step(data.clean)
    held: dict[tuple, list] = {band: [] for band in BANDS}
    by_key = []
    right = late = ended = 0
    for run in data.swept:
        _, holds = trackers.run_tracker(run, trackers.DEFAULT)
        spans = [(h.start_us / 1e6, (h.end_us or 1e12) / 1e6, h.sign) for h in holds]
        for one in run.passes:
            if not one.rest_s:
                continue
            start, end = one.at_s - one.rest_s / 2, one.at_s + one.rest_s / 2
            within = [(min(b, end) - max(a, start), sign, b) for a, b, sign in spans if a < end and b > start]
            level = abs(one.peak_ppm) / sigma_ppm
            band = next(b for b in BANDS if b[0] <= level < b[1])
            held[band].append((sum(w for w, sign, _ in within if sign == one.sign), one.rest_s))
            if within and level >= 8:
                ended += 1
                right += within[0][1] == one.sign
                late += within[-1][2] > end + 0.5
            if abs(one.peak_ppm) >= KEY_LEAST_PPM:
                by_key.append(with_key(run, one))
    false_s = 0.0
    for run in data.clean:
        false_s += sum((h.end_us or 120e6) / 1e6 - h.start_us / 1e6
                       for h in trackers.run_tracker(run, trackers.DEFAULT)[1])  # fmt: skip
    parts = []
    for band, some in held.items():
        total = sum(rest for _, rest in some)
        word = f"{band[0]:g}-{band[1]:g}" if band[1] < np.inf else f"{band[0]:g}+"
        parts.append(f"{word}: {sum(h for h, _ in some) / total:.2f} ({total:.0f})" if total else f"{word}: -")
    key = f"{np.mean(by_key):.2f} ({len(by_key)})" if by_key else "-"
    return (
        f"{ground:<8} sigma_st {sigma_ppm:5.2f} ppm  {'  '.join(parts)}; from 8 on entered with the right sign "
        f"{right}/{ended}, left > 0.5 s late {late}/{ended}; with the key, 3 ppm on {key}; "
        f"false hold {false_s / minutes:.1f} s a minute"
    )


def sigma_step(clean: list[Run]) -> float:
    """The robust scale of a 0.6 s step of the level while sweeping, in ppm."""
    steps = []
    for run in clean:
        blocks = run.y[: len(run.y) // BLOCK * BLOCK].reshape(-1, BLOCK).mean(axis=1)
        steps.append(blocks[STEP:] - blocks[:-STEP])
    return float(np.median(np.abs(np.concatenate(steps))) / 0.6745 / 1000)


def with_key(run: Run, one: Pass) -> float:
    """The share of the rest in which the level over the frozen baseline has the right sign and half its height."""
    start, end = one.at_s - one.rest_s / 2, one.at_s + one.rest_s / 2
    tracker = Tracker(INTERVAL_S)
    frozen = False
    good = total = 0
    for record in run.intervals:
        time_s = record[0] / 1e6
        if time_s > end:
            break
        if not frozen and time_s >= start - KEY_BEFORE_S:
            tracker.freeze()
            frozen = True
        tracker.interval(*record)
        state = tracker.state
        if state.time_us / 1e6 >= start:
            total += 1
            level = (state.y_ppb - state.baseline_ppb) / 1000
            good += level * one.sign >= 0.5 * abs(one.peak_ppm)
    return good / max(total, 1)
