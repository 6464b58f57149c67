"""Resting over a target: how long the auto-hold lasts, and how long the frozen baseline is right."""

from dataclasses import replace

import numpy as np
import trackers
from coilcount.tracker.tracker import Tracker
from kinds import KINDS, SECONDS
from score import share_interval
from series import INTERVAL_S, Pass, Run, data_of

GROUNDS = ("bench", "deep", "garden", "sun", "mineral")
BANDS = ((0, 2), (2, 4), (4, 8), (8, 16), (16, np.inf))
BLOCK = 5
STEP = 6
KEY_BEFORE_S = 1.2  # the key is pressed next to the target, this long before the rest
KEY_LEAST_PPM = 3.0
DEEPEST_CM = 9.0
PROMISED = 8  # levels in units of sigma_st from which a hold is promised
LATE_S = 0.5
Z = 1.96


def study(ground: str, tuning: bool, minutes: float) -> list[str]:
    """The rows of one ground."""
    test, chosen_by = KINDS["garden"].things
    things = tuple(tuple(replace(t, deep_cm=min(t.deep_cm, DEEPEST_CM)) for t in some) for some in (test, chosen_by))
    kind = replace(KINDS[ground], name=f"dwell {ground}", every_s=6.5, rest=True, things=things)
    data = data_of(kind, tuning, minutes, minutes, None)
    sigma_ppm = sigma_step(data.clean)
    # By band: (scene, seconds held with the right sign, seconds of rest).
    held: dict[tuple, list] = {band: [] for band in BANDS}
    by_key = []
    right = late = entered = 0
    after_s = 0.0
    for scene, run in enumerate(data.swept):
        spans = holds_of(run)
        rests = [(one.at_s - one.rest_s / 2, one.at_s + one.rest_s / 2) for one in run.passes if one.rest_s]
        after_s += sum(end - start - within(start, end, rests) for start, end, _ in spans)
        for one in run.passes:
            if not one.rest_s:
                continue
            start, end = one.at_s - one.rest_s / 2, one.at_s + one.rest_s / 2
            over = [(min(b, end) - max(a, start), sign, b) for a, b, sign in spans if a < end and b > start]
            level = abs(one.peak_ppm) / sigma_ppm
            band = next(b for b in BANDS if b[0] <= level < b[1])
            held[band].append((scene, sum(w for w, sign, _ in over if sign == one.sign), one.rest_s))
            if over and level >= PROMISED:
                entered += 1
                right += over[0][1] == one.sign
                late += over[-1][2] > end + LATE_S
            if abs(one.peak_ppm) >= KEY_LEAST_PPM:
                by_key.append((scene, with_key(run, one), 1.0))
    clean_s = sum(end - start for run in data.clean for start, end, _ in holds_of(run))
    rows = [f"{ground}, sigma_st {sigma_ppm:.2f} ppm"]
    every = [("8 and more", [row for band in BANDS if band[0] >= PROMISED for row in held[band]])]
    bands = [(f"{low:g} to {high:g}" if high < np.inf else f"{low:g} and more", held[low, high]) for low, high in BANDS]
    for word, some in bands + every:
        rows.append(f"  held, level {word:<12}{share(some):<24}{len(some):>4} rests, {sum(r[2] for r in some):.0f} s")
    for word, hits in (("entered with the right sign", right), (f"let go within {LATE_S} s", entered - late)):
        if entered:
            low, high = share_interval(hits, entered)
            rows.append(f"  {word:<30}{hits / entered:.3f} [{low:.3f}, {high:.3f}]     {entered:>4} rests, level 8 on")
    rows.append(f"  with the key, 3 ppm and more  {share(by_key):<24}{len(by_key):>4} rests")
    rows.append(f"  false hold, s a minute        {clean_s / minutes:.2f} on clean sweeps, {after_s / minutes:.2f} "
                f"between and after rests ({minutes:g} minutes each)")  # fmt: skip
    return rows


def holds_of(run: Run) -> list[tuple[float, float, int]]:
    """(start, end, sign) of the holds that are told, in s."""
    holds = trackers.run_tracker(run, trackers.DEFAULT)[1]
    return [(h.start_us / 1e6, SECONDS if h.end_us is None else h.end_us / 1e6, h.sign) for h in holds]


def within(start: float, end: float, rests: list[tuple[float, float]]) -> float:
    """How much of start..end lies in a rest or so shortly before and after it that the coil is still there."""
    return sum(max(0.0, min(end, b + LATE_S) - max(start, a - LATE_S)) for a, b in rests)


def share(rows: list[tuple[int, float, float]]) -> str:
    """Sum of the second over sum of the third, with a 95 % interval; rests of one scene are taken to hang together.

    The interval is Wilson's with as many independent trials as the scatter of the scenes' sums leaves, at most the
    rests (Kish's effective size; linearised variance of a ratio over clusters).
    """
    if not rows:
        return "-"
    data = np.array(rows)
    total = data[:, 2].sum()
    value = data[:, 1].sum() / total
    scenes = np.unique(data[:, 0])
    apart = [np.sum((data[:, 1] - value * data[:, 2])[data[:, 0] == scene]) for scene in scenes]
    n = float(len(rows))
    if len(scenes) > 1 and any(apart):
        variance = np.sum(np.square(apart)) * len(scenes) / (len(scenes) - 1) / total**2
        n = min(n, value * (1 - value) / variance)
    n = max(n, 1.0)
    middle = (value + Z**2 / (2 * n)) / (1 + Z**2 / n)
    half = Z / (1 + Z**2 / n) * np.sqrt(value * (1 - value) / n + Z**2 / (4 * n**2))
    return f"{value:.3f} [{max(0.0, middle - half):.3f}, {min(1.0, middle + half):.3f}]"


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
