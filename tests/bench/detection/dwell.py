"""Resting over a target: how long the auto-hold lasts, and how long the frozen baseline is right."""

import copy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import table
import trackers
from conditions import CONDITIONS, SECONDS
from series import Data, Pass, Run, data_of

# The numbers below were chosen by hand.  PROMISED is the level that tracker/hold.py states.
GROUNDS = ("bench", "deep", "garden", "sun", "mineral")
# Bands of the level: the shift in units of sigma_st.
BANDS = ((0, 2), (2, 4), (4, 8), (8, 16), (16, np.inf))
BLOCK = 5  # readings in a block, 0.1 s
STEP = 6  # blocks over which sigma_st is measured, 0.6 s
KEY_BEFORE_S = 1.2  # the key is pressed next to the target, this long before the rest
KEY_LEAST_PPM = 3.0  # weaker rests are left out of the figure with the key
DEEPEST_CM = 9.0  # deepest object in this part
PROMISED = 8  # a hold is promised from this level on, in units of sigma_st
LATE_S = 0.5  # a hold may end this long after the rest
Z = 1.96  # normal quantile of a 95 % interval


METHODS = (trackers.FRESH_TRACKER, trackers.WARM_TRACKER)

Row = tuple[str, str, str, str]  # condition and tracker, figure, value, number of rests and seconds


def study(ground: str, tuning: bool, minutes: float, cache: Path | None) -> list[Row]:
    """Return the rows of the table for one test condition."""
    test, tuning_objects = CONDITIONS["garden"].things
    things = tuple(
        tuple(replace(thing, deep_cm=min(thing.deep_cm, DEEPEST_CM)) for thing in objects)
        for objects in (test, tuning_objects)
    )
    condition = replace(CONDITIONS[ground], name=f"dwell {ground}", every_s=6.5, rest=True, things=things)
    data = data_of(condition, tuning, minutes, minutes, cache)
    sigma_ppm = sigma_step(data.clean)
    rows = [(ground, "sigma_st", f"{sigma_ppm:.2f} ppm", "")]
    for method in METHODS:
        rows += rows_of(ground, method, data, sigma_ppm, minutes)
    return rows


def rows_of(ground: str, method: trackers.Method, data: Data, sigma_ppm: float, minutes: float) -> list[Row]:
    """Return the rows of one tracker."""
    make = method.maker(data)
    # By band: (scene, seconds held with the right sign, seconds of rest).
    held: dict[tuple, list] = {band: [] for band in BANDS}
    by_key = []
    right = late = entered = 0
    clean_s = after_s = 0.0
    for heard in trackers.through(make, method.protocol, data):
        spans = spans_of(heard.events)
        if heard.clean:
            clean_s += sum(end - start for start, end, _ in spans)
            continue
        run, scene = heard.run, heard.number
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
    if method.protocol != trackers.WARM:
        by_key = [(scene, part, 1.0) for scene, run in enumerate(data.swept) for part in with_key(make(), run)]
    who = f"{ground}, {method.name}"
    rows = []
    every = [("at least 8", [row for band in BANDS if band[0] >= PROMISED for row in held[band]])]
    bands = [(f"{low:g} to {high:g}" if high < np.inf else f"at least {low:g}", held[low, high]) for low, high in BANDS]
    for word, parts in bands + every:
        seconds = sum(whole for _, _, whole in parts)
        rows.append((who, f"held, level {word}", share(parts), f"{len(parts)} rests, {seconds:.0f} s"))
    for word, hits in (("entered with the right sign", right), (f"ended within {LATE_S} s", entered - late)):
        if entered:
            rows.append((who, f"{word}, level at least {PROMISED}", table.share(hits, entered), f"{entered} rests"))
    if by_key:
        rows.append((who, f"with the key, at least {KEY_LEAST_PPM:g} ppm", share(by_key), f"{len(by_key)} rests"))
    rows.append((who, "false hold without objects", f"{clean_s / minutes:.2f} s a minute", f"{minutes:g} minutes"))
    rows.append((who, "false hold beside rests", f"{after_s / minutes:.2f} s a minute", f"{minutes:g} minutes"))
    return rows


def spans_of(events: list) -> list[tuple[float, float, int]]:
    """Return (start, end, sign) of the holds among the events of a run, in s."""
    holds = [event for event in events if not trackers.is_alert(event) and event.stage == "final"]
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


def with_key(tracker: Any, run: Run) -> list[float]:
    """Return, for each rest over a shift of at least KEY_LEAST_PPM, the share of it in which the level is right.

    That is: the shift has the right sign and at least half its true height.  A copy of the tracker has its baseline
    frozen by key before the rest.  The tracker itself goes on without the key.
    """
    rests = [pass_ for pass_ in run.passes if pass_.rest_s and abs(pass_.peak_ppm) >= KEY_LEAST_PPM]
    shares = []
    for number, record in enumerate(run.intervals):
        if not rests:
            break
        pass_ = rests[0]
        start = pass_.at_s - pass_.rest_s / 2
        if record[0] / 1e6 >= start - KEY_BEFORE_S:
            rests.pop(0)
            shares.append(_frozen(copy.deepcopy(tracker), run.intervals[number:], pass_))
        tracker.interval(*record)
    return shares


def _frozen(tracker: Any, records: list[tuple[int, ...]], pass_: Pass) -> float:
    tracker.freeze()
    start, end = pass_.at_s - pass_.rest_s / 2, pass_.at_s + pass_.rest_s / 2
    good = total = 0
    for record in records:
        if record[0] / 1e6 > end:
            break
        tracker.interval(*record)
        state = tracker.state
        if state.time_us / 1e6 >= start:
            total += 1
            level = (state.y_ppb - state.baseline_ppb) / 1000
            good += level * pass_.sign >= 0.5 * abs(pass_.peak_ppm)
    return good / max(total, 1)
