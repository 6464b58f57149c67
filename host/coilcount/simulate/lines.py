"""Makes the lines that a board would send for a scene, with the host times of their arrival, without any process."""

from collections.abc import Iterator

import numpy as np
from coilwire import PROTOCOL, records
from coilwire.virtual_board import CLOCK_HZ, MARKED, PLUGGED, TICK_CYCLES, UNPLUGGED

from coilcount.model import Gap, Line
from coilcount.simulate.edges import BLOCK_MS, FIELDS, TICKS_PER_MS, Sums, joined, merge
from coilcount.simulate.scene import Scene
from coilcount.simulate.source import Second, Source

FIRMWARE = "simulated"
U16, U32 = records.U16, records.U32
AMBIGUOUS_MS = U32 // 2 // TICKS_PER_MS  # a silence longer than half a turn of the timestamp


def entries(scene: Scene, seed: int | None = None, interval_ms: int = 20) -> Iterator[Line | Gap]:
    """Iterate over the Line and Gap entries of the whole scene, in order of host time.  Memory stays flat."""
    seed = scene.seed if seed is None else seed
    source = Source(scene, seed)
    arrival = _Arrival(np.random.default_rng([seed, 3]))
    board = _Board(scene, seed, interval_ms)
    total_ms = round(scene.duration_s * 1000)
    pulled_s = 0.0
    last = b""
    for _ in range(0, total_ms, BLOCK_MS):
        for at_ms, what in board.second(source.second()):
            if at_ms > total_ms:
                break
            if what is UNPLUGGED:
                pulled_s = arrival.of(at_ms)
                # The line that was being sent is cut off; half of the last line stands for it.
                yield Line(pulled_s, last[: len(last) // 2])
            elif what is PLUGGED:
                yield Gap(arrival.of(at_ms), pulled_s, "unplugged")
            else:
                last = records.write(what)[:-1]
                yield Line(arrival.of(at_ms), last)


class _Arrival:
    """The time at which the host reads a line.  USB and the host's loop collect lines for several milliseconds."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._read_s = 0.0

    def of(self, sent_ms: int) -> float:
        sent_s = sent_ms / 1000
        if sent_s > self._read_s:
            delay_s = self._rng.uniform(0.0005, 0.006)
            if self._rng.random() < 0.01:  # the host was busy
                delay_s += self._rng.uniform(0.02, 0.08)
            self._read_s = round(sent_s + delay_s, 6)
        return self._read_s


class _Board:
    """Does the work of the firmware: turns raw data into interval sums and other records, each with its millisecond."""

    def __init__(self, scene: Scene, seed: int, interval_ms: int) -> None:
        self._interval_ms = interval_ms
        self._lost = sorted((round(1000 * at_s), lost.records) for lost in scene.lost for at_s in lost.at_s)
        self._uid = f"SIM{seed:08X}"
        self._plugged = True
        self._boot = 0
        self._marks = 0
        self._start(0)

    def _start(self, at_ms: int) -> None:
        self._boot += 1
        self._boot_ms = at_ms
        self._sequence = 0
        self._last_edge_ms = at_ms
        self._last_stopped_ms: int | None = None
        self._first_tick: int | None = None  # timestamps count from the first edge
        self._new_time_base = True
        self._waiting: list[tuple[Sums, np.ndarray, np.ndarray]] = []  # milliseconds short of an interval
        self._waiting_ms = at_ms

    def second(self, data: Second) -> list[tuple[int, object]]:
        """List (millisecond, record) of one second in order; a record may also be UNPLUGGED or PLUGGED."""
        out: list[tuple[int, object]] = []
        begin = 0
        for end in [*np.flatnonzero(data.control & (UNPLUGGED | PLUGGED)).tolist(), BLOCK_MS]:
            if self._plugged:
                out += self._run(data, begin, end)
            if end < BLOCK_MS:
                self._plugged = bool(data.control[end] & PLUGGED)
                out.append((data.start_ms + end, PLUGGED if self._plugged else UNPLUGGED))
                if self._plugged:
                    self._start(data.start_ms + end)
            begin = end
        return out

    def _run(self, data: Second, begin: int, end: int) -> list[tuple[int, object]]:
        """List the records of the milliseconds begin..end-1 of a second, in which the board runs."""
        start_ms = data.start_ms + begin
        out = self._intervals(data, slice(begin, end))
        for offset_ms in np.flatnonzero(data.control[begin:end] & MARKED).tolist():
            self._marks += 1
            pressed_ms = start_ms + offset_ms
            out.append((pressed_ms, records.Mark((pressed_ms - self._boot_ms) % U32, self._marks)))
        for at_ms in range(start_ms, start_ms + end - begin):
            uptime_ms = at_ms - self._boot_ms
            if uptime_ms % records.HELLO_EVERY_MS == 0:
                out.append((at_ms, self._hello(uptime_ms)))
            if uptime_ms and uptime_ms % records.STATUS_EVERY_MS == 0:
                out.append((at_ms, self._status(uptime_ms, data, begin)))
        return sorted(out, key=lambda timed: timed[0])

    def _intervals(self, data: Second, part: slice) -> list[tuple[int, object]]:
        self._waiting.append((data.sums[part], data.amplitude[part], data.flags[part]))
        size = self._interval_ms
        sums = joined([block[0] for block in self._waiting])
        amplitude, flags = (np.concatenate([block[i] for block in self._waiting]) for i in (1, 2))
        whole = len(sums) // size * size
        self._waiting = [(sums[whole:], amplitude[whole:], flags[whole:])]
        first_ms = self._waiting_ms
        self._waiting_ms += whole
        if not whole:
            return []
        merged = merge(sums[:whole], size)
        mean = np.rint(amplitude[:whole].reshape(-1, size).mean(axis=1)).astype(np.int64)
        together = np.bitwise_or.reduce(flags[:whole].reshape(-1, size), axis=1)
        rows = np.stack([*(getattr(merged, name) for name in FIELDS), mean, together], axis=1).tolist()
        out: list[tuple[int, object]] = []
        for i, (first_edge, n, t_first, s, shortest, longest, volts, flag) in enumerate(rows):
            at_ms = first_ms + (i + 1) * size
            if not n:
                out += self._silence(at_ms)
                continue
            if self._first_tick is None:
                self._first_tick = t_first
            tick = (t_first - self._first_tick) % U32
            if self._new_time_base or at_ms - self._last_edge_ms > AMBIGUOUS_MS:
                flag |= records.FLAG_NEW_TIME_BASE
            self._new_time_base = False
            self._last_edge_ms = at_ms
            self._last_stopped_ms = None
            record = records.Interval(
                self._sequence % U16, first_edge % U32, n, tick, s, shortest, longest, volts, flag
            )
            self._sequence += 1
            if not self._is_lost(at_ms):
                out.append((at_ms, record))
        return out

    def _silence(self, at_ms: int) -> list[tuple[int, object]]:
        silent_ms = at_ms - self._last_edge_ms
        if self._last_stopped_ms is None:
            due = silent_ms >= records.STOPPED_AFTER_MS
        else:
            due = at_ms - self._last_stopped_ms >= records.STOPPED_EVERY_MS
        if not due:
            return []
        self._last_stopped_ms = at_ms
        return [(at_ms, records.Stopped((at_ms - self._boot_ms) % U32, silent_ms % U32))]

    def _is_lost(self, at_ms: int) -> bool:
        if not self._lost or at_ms < self._lost[0][0]:
            return False
        start_ms, left = self._lost[0]
        if left > 1:
            self._lost[0] = (start_ms, left - 1)
        else:
            del self._lost[0]
        return True

    def _hello(self, uptime_ms: int) -> records.Hello:
        return records.Hello(
            protocol=PROTOCOL,
            firmware=FIRMWARE,
            board="simulation",
            uid=self._uid,
            boot=self._boot,
            uptime_ms=uptime_ms % U32,
            clock_hz=CLOCK_HZ,
            tick_cycles=TICK_CYCLES,
            interval_ms=self._interval_ms,
            settings_crc=0,
            layout=records.LAYOUT,
        )

    def _status(self, uptime_ms: int, data: Second, index: int) -> records.Status:
        return records.Status(
            uptime_ms=uptime_ms % U32,
            temperature_mk=int(data.temperature_mk[index]),
            supply_mv=int(data.supply_mv[index]),
            ring_high=2,
            dropped=0,
            short_writes=0,
            bad_commands=0,
        )
