"""Series for the tracker's tests: raw intervals and readings with a known shift, and how to run them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from coilcount.tracker.records import Alert
from coilcount.tracker.tracker import Tracker

INTERVAL_S = 0.02
INTERVAL_US = 20000
TICK_HZ = 62_500_000  # 16 ns
F0_HZ = 25_013.7  # no whole ratio to the tick
ROOT_BENCH = Path(__file__).parents[1] / "bench" / "detection"  # its objects and test conditions
# Frequencies near this carry a shift of whole 1e-9 exactly, so that readings give just the y that was meant.
EXACT_HZ = 1e9


def intervals(
    y: np.ndarray, extra: dict[float, int] | None = None, edge_0: int = 0, tick_0: int = 0, sequence_0: int = 0
) -> list[tuple[int, int, int, int, int, int]]:
    """What a board sends for relative shifts `y` (one an interval): arguments of Tracker.interval.

    extra: time_s -> +1 an edge counted twice there, -1 an edge missed.  Counters wrap as on the wire.
    """
    grid = np.arange(len(y) + 1) * INTERVAL_S
    phase = np.concatenate([[0.0], np.cumsum(F0_HZ * (1 + y) * INTERVAL_S)])
    times = np.interp(np.arange(int(phase[-1])) + 0.4, phase, grid)
    for at, what in (extra or {}).items():
        k = int(np.searchsorted(times, at))
        times = np.insert(times, k, times[k] + 1e-6) if what > 0 else np.delete(times, k)
    ticks = np.floor(times * TICK_HZ).astype(np.int64)
    cuts = np.searchsorted(times, grid)
    out = []
    for k in range(len(y)):
        mine = ticks[cuts[k] : cuts[k + 1]]
        out.append(
            (
                k * INTERVAL_US + INTERVAL_US // 2,
                (sequence_0 + k) & 0xFFFF,
                (edge_0 + int(cuts[k])) & 0xFFFFFFFF,
                len(mine),
                (tick_0 + int(mine[0])) & 0xFFFFFFFF,
                int(np.sum(mine - mine[0])),
            )
        )
    return out


def noise_ppb(n: int, seed: int, sigma_ppb: float = 150.0) -> np.ndarray:
    """White noise and a slow random walk, whole 1e-9; the first is 0, so that the reference is exact."""
    rng = np.random.default_rng(seed)
    y = rng.normal(size=n) * sigma_ppb + np.cumsum(rng.normal(size=n)) * sigma_ppb / 20
    y[0] = 0
    return np.rint(y).astype(np.int64)


def bump_ppb(n: int, peak_s: float, height_ppb: float, width_s: float) -> np.ndarray:
    """A pass, (1 + (u / w)^2)^-3 with full width at half maximum `width_s`."""
    u = (np.arange(n) * INTERVAL_S + INTERVAL_S / 2 - peak_s) / (width_s / 1.02)
    return np.rint(height_ppb * (1 + u * u) ** -3).astype(np.int64)


def read(tracker: Tracker, y_ppb: np.ndarray, start_us: int = 0) -> tuple[list, list]:
    """Feeds readings; the events, and the state after each."""
    events = []
    states = []
    for k, y in enumerate(y_ppb.tolist()):
        events += tracker.reading(start_us + k * INTERVAL_US + INTERVAL_US // 2, EXACT_HZ + y)
        states.append(tracker.state)
    return events, states


def finals(events: list) -> list[Alert]:
    """The alerts, each in its last form."""
    return [event for event in events if isinstance(event, Alert) and event.stage == "final"]
