"""Series for the tracker's tests: intervals and readings with a known shift, and a function that runs them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from coilcount.tracker.records import Alert
from coilcount.tracker.tracker import Tracker

INTERVAL_S = 0.02
INTERVAL_US = 20000
TICK_HZ = 62_500_000  # 16 ns
F0_HZ = 25_013.7  # a period is no whole number of ticks
ROOT_BENCH = Path(__file__).parents[1] / "bench" / "detection"  # folder of its objects and test conditions
# Near this frequency a shift of whole 1e-9 is a whole number of Hz, so readings have exactly the intended shift.
EXACT_HZ = 1e9


def intervals(
    y: np.ndarray, extra: dict[float, int] | None = None, edge_0: int = 0, tick_0: int = 0, sequence_0: int = 0
) -> list[tuple[int, int, int, int, int, int]]:
    """Return the arguments of Tracker.interval that a board sends for the relative shifts `y`, one for each interval.

    extra: time in s -> +1 for an edge counted twice there, -1 for an edge missed; edge_0, tick_0, sequence_0: start of
    the counters, which wrap as on the wire.
    """
    grid = np.arange(len(y) + 1) * INTERVAL_S
    phase = np.concatenate([[0.0], np.cumsum(F0_HZ * (1 + y) * INTERVAL_S)])
    times = np.interp(np.arange(int(phase[-1])) + 0.4, phase, grid)
    for time_s, change in (extra or {}).items():
        k = int(np.searchsorted(times, time_s))
        times = np.insert(times, k, times[k] + 1e-6) if change > 0 else np.delete(times, k)
    ticks = np.floor(times * TICK_HZ).astype(np.int64)
    cuts = np.searchsorted(times, grid)
    out = []
    for k in range(len(y)):
        edges = ticks[cuts[k] : cuts[k + 1]]
        out.append(
            (
                k * INTERVAL_US + INTERVAL_US // 2,
                (sequence_0 + k) & 0xFFFF,
                (edge_0 + int(cuts[k])) & 0xFFFFFFFF,
                len(edges),
                (tick_0 + int(edges[0])) & 0xFFFFFFFF,
                int(np.sum(edges - edges[0])),
            )
        )
    return out


def noise_ppb(n: int, seed: int, sigma_ppb: float = 150.0) -> np.ndarray:
    """Return n shifts in whole 1e-9: white noise and a slow random walk.  The first is 0, so the reference is exact."""
    rng = np.random.default_rng(seed)
    y = rng.normal(size=n) * sigma_ppb + np.cumsum(rng.normal(size=n)) * sigma_ppb / 20
    y[0] = 0
    return np.rint(y).astype(np.int64)


def bump_ppb(n: int, peak_s: float, height_ppb: float, width_s: float) -> np.ndarray:
    """Return a pass of the shape (1 + (u / w)^2)^-3 in 1e-9.  width_s: full width at half maximum, in s."""
    u = (np.arange(n) * INTERVAL_S + INTERVAL_S / 2 - peak_s) / (width_s / 1.02)
    return np.rint(height_ppb * (1 + u * u) ** -3).astype(np.int64)


def read(tracker: Tracker, y_ppb: np.ndarray, start_us: int = 0) -> tuple[list, list]:
    """Feed readings of these shifts to the tracker.  Return its events, and its state after each reading."""
    events = []
    states = []
    for k, y in enumerate(y_ppb.tolist()):
        events += tracker.reading(start_us + k * INTERVAL_US + INTERVAL_US // 2, EXACT_HZ + y)
        states.append(tracker.state)
    return events, states


def finals(events: list) -> list[Alert]:
    """Return the alerts among the events, each in its final form."""
    return [event for event in events if isinstance(event, Alert) and event.stage == "final"]


def run(y, **settings_):
    """Events and states of a new tracker over a series y in 1e-9, to its end."""
    tracker = Tracker(INTERVAL_S, **settings_)
    events, states = read(tracker, y)
    return events + list(tracker.finish()), states
