"""Exact edge timestamps from a frequency on a 1 ms grid, and exact integer sums over them.

The frequency is constant within a millisecond, so the phase is a piecewise linear function of time.  Edge k falls at
the time at which the phase reaches k.  Each edge gets white jitter and is rounded down to a tick of the board's clock.
"""

from dataclasses import dataclass

import numpy as np
from coilwire.virtual_board import CLOCK_HZ, TICK_CYCLES

BLOCK_MS = 1000  # step of the simulation; one second at a time keeps memory flat
TICK_S = TICK_CYCLES / CLOCK_HZ
TICKS_PER_MS = CLOCK_HZ // TICK_CYCLES // 1000
# A doubled edge comes 3.2 us after the real one: after the board's hold-off of 1.6 us, well within half a period.
DOUBLE_TICKS = 200
U16_MAX = 65535


@dataclass(frozen=True, slots=True)
class Sums:
    """Interval sums as int64 arrays of equal length, not wrapped.

    first_edge: index of the first edge; n: number of edges; t_first: timestamp of the first edge in ticks; s: sum of
    (t - t_first) in ticks; shortest, longest: of the periods that end in the interval, in ticks, at most 65535, 0 if
    there is none.  In an interval without edges all are 0.
    """

    first_edge: np.ndarray
    n: np.ndarray
    t_first: np.ndarray
    s: np.ndarray
    shortest: np.ndarray
    longest: np.ndarray

    def __getitem__(self, part: slice) -> "Sums":
        return Sums(*(getattr(self, name)[part] for name in FIELDS))

    def __len__(self) -> int:
        return len(self.n)


FIELDS = ("first_edge", "n", "t_first", "s", "shortest", "longest")


def joined(parts: list[Sums]) -> Sums:
    """Join the intervals of all `parts`."""
    return Sums(*(np.concatenate([getattr(part, name) for part in parts]) for name in FIELDS))


def sums_of(ticks: np.ndarray, n: np.ndarray, first_edge: int, tick_before: int | None) -> Sums:
    """Compute the sums over consecutive groups of edges.

    ticks: (edges,) int64 timestamps in order; n: (groups,) number of edges in each group, sum(n) == edges; first_edge:
    index of ticks[0]; tick_before: timestamp of the edge before ticks[0], which gives the first period, or None.
    """
    groups = len(n)
    result = {name: np.zeros(groups, dtype=np.int64) for name in FIELDS}
    result["n"][:] = n
    full = np.flatnonzero(n)
    if len(full):
        counts = n[full]
        starts = np.cumsum(counts) - counts
        first = ticks[starts]
        result["first_edge"][full] = first_edge + starts
        result["t_first"][full] = first
        result["s"][full] = np.add.reduceat(ticks - np.repeat(first, counts), starts)
        periods = np.empty_like(ticks)
        np.subtract(ticks[1:], ticks[:-1], out=periods[1:])
        if tick_before is not None:
            periods[0] = ticks[0] - tick_before
        else:  # the very first edge ends no period, so the next period is used for it
            periods[0] = periods[1] if len(ticks) > 1 else 0
        np.minimum(periods, U16_MAX, out=periods)
        result["shortest"][full] = np.minimum.reduceat(periods, starts)
        result["longest"][full] = np.maximum.reduceat(periods, starts)
    return Sums(**result)


def merge(sums: Sums, size: int) -> Sums:
    """Merge groups of `size` neighbouring intervals, exactly: S = sum of s_i + n_i (t_i - t_1).

    len(sums) must be a multiple of `size`.
    """
    rows = {name: getattr(sums, name).reshape(-1, size) for name in FIELDS}
    full = rows["n"] > 0
    lead = np.argmax(full, axis=1)[:, None]  # the first interval that holds an edge
    any_edge = full.any(axis=1)

    def of_lead(name: str) -> np.ndarray:
        return np.take_along_axis(rows[name], lead, axis=1)[:, 0]

    t_first = of_lead("t_first")
    s = np.sum(np.where(full, rows["s"] + rows["n"] * (rows["t_first"] - t_first[:, None]), 0), axis=1)
    shortest = np.where(any_edge, np.min(np.where(full, rows["shortest"], U16_MAX), axis=1), 0)
    return Sums(of_lead("first_edge"), rows["n"].sum(axis=1), t_first, s, shortest, rows["longest"].max(axis=1))


class EdgeSource:
    """The edges of one oscillator, in blocks.  It remembers phase, edge index and the last edge between the blocks."""

    def __init__(self, jitter_s: float, rng: np.random.Generator) -> None:
        self._jitter_ticks = jitter_s / TICK_S
        self._rng = rng
        self._phase = 0.0  # cycles since the last edge
        self._ms = 0
        self._edges = 0
        self._last_tick: int | None = None

    def restart(self) -> None:
        """Restart clock, edge index and phase, as when a board boots."""
        self._phase = 0.0
        self._ms = 0
        self._edges = 0
        self._last_tick = None

    def block(self, frequency_hz: np.ndarray, glitches: tuple[tuple[int, str], ...] = ()) -> Sums:
        """Compute the sums of the next len(frequency_hz) milliseconds, one for each.  0 Hz means no edges.

        glitches: (millisecond within the block, "doubled" or "lost"); each changes the first edge of its millisecond.
        """
        ticks, n = self._edges_of(frequency_hz)
        for at_ms, kind in glitches:
            if n[at_ms]:
                edge = int(n[:at_ms].sum())
                if kind == "doubled":
                    ticks = np.insert(ticks, edge + 1, ticks[edge] + DOUBLE_TICKS)
                    n[at_ms] += 1
                else:
                    ticks = np.delete(ticks, edge)
                    n[at_ms] -= 1
        sums = sums_of(ticks, n, self._edges, self._last_tick)
        self._edges += len(ticks)
        if len(ticks):
            self._last_tick = int(ticks[-1])
        return sums

    def _edges_of(self, frequency_hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        cycles = frequency_hz * 1e-3
        phase = np.concatenate(([self._phase], self._phase + np.cumsum(cycles)))
        whole = np.floor(phase).astype(np.int64)
        n = np.diff(whole)
        ms = np.repeat(np.arange(len(n)), n)
        k = np.arange(1, len(ms) + 1)
        fraction_ms = (k - phase[ms]) / cycles[ms]
        exact = (ms + fraction_ms) * TICKS_PER_MS
        if self._jitter_ticks:
            exact += self._jitter_ticks * self._rng.standard_normal(len(exact))
        # The whole milliseconds are added as integers, so that the last digit is still right after hours.
        ticks = np.floor(exact).astype(np.int64) + self._ms * TICKS_PER_MS
        self._phase = float(phase[-1] - whole[-1])
        self._ms += len(n)
        return ticks, n
