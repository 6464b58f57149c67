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
BLOCK = 5  # readings in a block, 0.1 s
STEP = 6  # blocks over which sigma_st is measured, 0.6 s
KEY_BEFORE_S = 1.2  # the key is pressed next to the target, this long before the rest
KEY_LEAST_PPM = 3.0  # weaker rests are left out of the figure with the key
DEEPEST_CM = 9.0  # deepest object in this part
PROMISED = 8  # a hold is promised from this level on, in units of sigma_st
LATE_S = 0.5  # a hold may end this long after the rest
Z = 1.96  # normal quantile of a 95 % interval


def study(ground: str, tuning: bool, minutes: float) -> list[str]:
    """Return the rows of the table for one test condition."""
    test, tuning_objects = KINDS["garden"].things
    things = tuple(
        tuple(replace(thing, deep_cm=min(thing.deep_cm, DEEPEST_CM)) for thing in objects)
        for objects in (test, tuning_objects)
    )
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
        rests = [(pass_.at_s - pass_.rest_s / 2, pass_.at_s + pass_.rest_s / 2) for pass_ in run.passes if pass_.rest_s]
        after_s += sum(end - start - within(start, end, rests) for start, end, _ in spans)
        for pass_ in run.passes:
            if not pass_.rest_s:
                continue
            start, end = pass_.at_s - pass_.rest_s / 2, pass_.at_s + pass_.rest_s / 2
            over = [(min(b, end) - max(a, start), sign, b) for a, b, sign in spans if a < end and b > start]
            level = abs(pass_.peak_ppm) / sigma_ppm
            band = next(b for b in BANDS if b[0] <= level < b[1])
            held[band].append((scene, sum(w for w, sign, _ in over if sign == pass_.sign), pass_.rest_s))
            if over and level >= PROMISED:
                entered += 1
                right += over[0][1] == pass_.sign
                late += over[-1][2] > end + LATE_S
            if abs(pass_.peak_ppm) >= KEY_LEAST_PPM:
                by_key.append((scene, with_key(run, pass_), 1.0))
    clean_s = sum(end - start for run in data.clean for start, end, _ in holds_of(run))
    rows = [f"{ground}, sigma_st {sigma_ppm:.2f} ppm"]
    every = [("at least 8", [row for band in BANDS if band[0] >= PROMISED for row in held[band]])]
    bands = [(f"{low:g} to {high:g}" if high < np.inf else f"at least {low:g}", held[low, high]) for low, high in BANDS]
    for word, parts in bands + every:
        seconds = sum(whole for _, _, whole in parts)
        rows.append(f"  held, level {word:<12}{share(parts):<24}{len(parts):>4} rests, {seconds:.0f} s")
    for word, hits in (("entered with the right sign", right), (f"ended within {LATE_S} s", entered - late)):
        if entered:
            low, high = share_interval(hits, entered)
            value = f"{hits / entered:.3f} [{low:.3f}, {high:.3f}]"
            rows.append(f"  {word:<30}{value}     {entered:>4} rests, level at least 8")
    rows.append(f"  with the key, at least 3 ppm  {share(by_key):<24}{len(by_key):>4} rests")
    rows.append(f"  false hold, s a minute        {clean_s / minutes:.2f} without objects, {after_s / minutes:.2f} "
                f"between and after rests ({minutes:g} minutes each)")  # fmt: skip
    return rows


def holds_of(run: Run) -> list[tuple[float, float, int]]:
    """Return (start, end, sign) of the holds that the tracker reports, in s."""
    holds = trackers.run_tracker(run, trackers.DEFAULT)[1]
    return [(h.start_us / 1e6, SECONDS if h.end_us is None else h.end_us / 1e6, h.sign) for h in holds]


def within(start: float, end: float, rests: list[tuple[float, float]]) -> float:
    """Return how many seconds of start..end lie in a rest, or at most LATE_S before or after it."""
    return sum(max(0.0, min(end, b + LATE_S) - max(start, a - LATE_S)) for a, b in rests)


def share(rows: list[tuple[int, float, float]]) -> str:
    """Format the sum of the second column over the sum of the third, with a 95 % interval.

    rows: (scene, part, whole).  Rests of one scene are a cluster, because they are not independent.
    The interval is Wilson's, with Kish's effective number of rests.  That number comes from the linearised variance of
    a ratio over clusters, and is at most the number of rests.
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
    """Return sigma_st in ppm: the robust standard deviation of a 0.6 s step of the level while sweeping."""
    steps = []
    for run in clean:
        blocks = run.y[: len(run.y) // BLOCK * BLOCK].reshape(-1, BLOCK).mean(axis=1)
        steps.append(blocks[STEP:] - blocks[:-STEP])
    return float(np.median(np.abs(np.concatenate(steps))) / 0.6745 / 1000)


def with_key(run: Run, pass_: Pass) -> float:
    """Return the share of the rest in which the shift has the right sign and at least half its true height.

    The baseline was frozen by key before the rest.
    """
    start, end = pass_.at_s - pass_.rest_s / 2, pass_.at_s + pass_.rest_s / 2
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
            good += level * pass_.sign >= 0.5 * abs(pass_.peak_ppm)
    return good / max(total, 1)
