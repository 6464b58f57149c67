"""The raw data of a simulated board, one second at a time: edge sums of each millisecond, flags and other readings.

If a run is longer than the scene, the events of the scene (passes, knocks, glitches, stops, unplugs, marks) are
repeated every duration_s.  Noise, ground, weather and supply continue without a step.
"""

from dataclasses import dataclass

import numpy as np
from coilwire import records
from coilwire.virtual_board import MARKED, PLUGGED, UNPLUGGED

from coilcount.simulate.edges import BLOCK_MS, TICK_S, EdgeSource, Sums, joined
from coilcount.simulate.scene import Scene, Span
from coilcount.simulate.signal import Signal

AMPLITUDE_UNIT_V = 1e-4
SHORT_PERIOD = 0.7  # of the nominal period: an edge counted twice
LONG_PERIOD = 1.4  # an edge missed


@dataclass(frozen=True, slots=True)
class Second:
    """One second of the scene.  Every array has 1000 entries, one for each millisecond.

    amplitude: 0.1 mV; flags: coilwire.records.FLAG_*; temperature_mk: mK; supply_mv: mV; control: bits of
    coilwire.virtual_board.
    """

    start_ms: int
    sums: Sums
    amplitude: np.ndarray
    flags: np.ndarray
    temperature_mk: np.ndarray
    supply_mv: np.ndarray
    control: np.ndarray


class Source:
    """The raw data of a board in order.  seed: None for the scene's own seed."""

    def __init__(self, scene: Scene, seed: int | None = None) -> None:
        seed = scene.seed if seed is None else seed
        self._scene = scene
        self._signal = Signal(scene, seed)
        self._edges = EdgeSource(scene.oscillator.jitter_ns * 1e-9, np.random.default_rng([seed, 1]))
        self._next_ms = 0

    def second(self) -> Second:
        """Compute the next second."""
        start_ms = self._next_ms
        self._next_ms += BLOCK_MS
        block = self._signal.block()
        scene_ms = (start_ms + np.arange(BLOCK_MS)) % round(self._scene.duration_s * 1000)
        control = np.zeros(BLOCK_MS, dtype=np.int64)
        silent = np.zeros(BLOCK_MS, dtype=bool)
        for span in self._scene.unplug:
            control[scene_ms == _ms(span.start_s)] |= UNPLUGGED
            control[scene_ms == _ms(span.end_s)] |= PLUGGED
        for mark in self._scene.mark:
            control[np.isin(scene_ms, [_ms(at_s) for at_s in mark.at_s])] |= MARKED
        for span in self._scene.unplug + self._scene.stopped:
            silent |= _within(scene_ms, span)
        frequency = np.where(silent, 0.0, block.frequency_hz)
        sums = self._count(frequency, scene_ms, np.flatnonzero(control & PLUGGED))
        return Second(
            start_ms=start_ms,
            sums=sums,
            amplitude=np.where(silent, 0, np.rint(block.amplitude_v / AMPLITUDE_UNIT_V)).astype(np.int64),
            flags=self._flags(sums, block.frequency_hz),
            temperature_mk=np.rint(block.temperature_k * 1000).astype(np.int64),
            supply_mv=np.rint(block.supply_v * 1000).astype(np.int64),
            control=control,
        )

    def _count(self, frequency: np.ndarray, scene_ms: np.ndarray, boots: np.ndarray) -> Sums:
        glitches = [
            (int(index_ms), glitch.kind)
            for glitch in self._scene.glitch
            for index_ms in np.flatnonzero(np.isin(scene_ms, [_ms(at_s) for at_s in glitch.at_s]))
        ]
        glitches.sort()
        parts = []
        begin = 0
        for end in [*boots.tolist(), BLOCK_MS]:
            inside = tuple((index_ms - begin, kind) for index_ms, kind in glitches if begin <= index_ms < end)
            parts.append(self._edges.block(frequency[begin:end], inside))
            if end < BLOCK_MS:
                self._edges.restart()
            begin = end
        return joined(parts)

    def _flags(self, sums: Sums, frequency_hz: np.ndarray) -> np.ndarray:
        period = 1 / (frequency_hz * TICK_S)
        flags = np.where((sums.n > 0) & (sums.shortest < SHORT_PERIOD * period), records.FLAG_DOUBLE_EDGE, 0)
        flags |= np.where((sums.n > 0) & (sums.longest > LONG_PERIOD * period), records.FLAG_LOST_EDGE, 0)
        if not self._scene.amplitude.present:
            flags |= records.FLAG_NO_AMPLITUDE
        return flags


def _ms(time_s: float) -> int:
    return round(time_s * 1000)


def _within(scene_ms: np.ndarray, span: Span) -> np.ndarray:
    return (scene_ms >= _ms(span.start_s)) & (scene_ms < _ms(span.end_s))
