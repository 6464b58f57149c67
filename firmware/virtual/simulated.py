"""Counter, clock and sensors of the virtual board.  They come from a scene: one record for each millisecond.

The records are read from a FIFO; coilwire.virtual_board describes them.  Everything reported here, time included,
depends on the records alone.  This file is not installed on a board.
"""

import struct

import counter as counting
from board import Board
from coilwire import records
from coilwire.virtual_board import CLOCK_HZ, FORMAT, MARKED, SIZE, TICK_CYCLES, UNPLUGGED

# ms; the length of half a turn of the 32-bit timestamp.  After a longer silence the time base is new.
AMBIGUOUS_MS = (1 << 31) // (CLOCK_HZ // TICK_CYCLES // 1000)


class PowerLost(Exception):
    """The plug was pulled."""


class SceneEnded(Exception):
    """The scene has no more milliseconds."""


class Scene(counting.Counter):
    """The counter of a scene.  It is also the clock (uptime_ms) and holds the sensor values.

    stream: an unbuffered binary stream.  Its read() may return fewer bytes than asked for, or None if none wait.

    poll() raises PowerLost if the plug is pulled, and SceneEnded at the end of the stream.
    """

    clock_hz = CLOCK_HZ
    tick_cycles = TICK_CYCLES

    def __init__(self, stream):
        super().__init__()
        self.temperature_mk = 0
        self.supply_mv = 0
        self.marks = 0
        self._stream = stream
        self._record = b""
        self._uptime = 0
        self._silent = 0
        self._interval = 0
        self._elapsed = 0
        self._offsets = None  # edge number and timestamp of the first edge in this boot
        self._n = 0  # edges in the open interval
        self._first = self._t_first = self._s = self._shortest = self._longest = self._flags = 0
        # Sum of the amplitudes, and how many there are.
        self._amplitude = self._amplitudes = 0

    def uptime_ms(self):
        return self._uptime & counting.MS_MASK

    def start(self, interval_ms):
        self._interval = interval_ms
        self._flags = records.FLAG_NEW_TIME_BASE

    def stop(self):
        pass

    def set_interval(self, interval_ms):
        self._interval = interval_ms

    def silent_ms(self):
        return self._silent

    def poll(self):
        part = self._stream.read(SIZE - len(self._record))
        self.behind = part is not None
        if part is None:
            return counting.IDLE
        if not part:
            raise SceneEnded
        self._record += part
        if len(self._record) < SIZE:
            return counting.IDLE
        values = struct.unpack(FORMAT, self._record)
        self._record = b""
        return self._millisecond(values)

    def _millisecond(self, values):
        first, n, t_first, s, shortest, longest, amplitude, flags, self.temperature_mk, self.supply_mv, control = values
        if control & UNPLUGGED:
            raise PowerLost
        if control & MARKED:
            self.marks += 1
        self._uptime += 1
        self._elapsed += 1
        closed = False
        if n:
            if self._silent > AMBIGUOUS_MS:
                flags |= records.FLAG_NEW_TIME_BASE
            self._silent = 0
            if self._offsets is None:
                self._offsets = (first, t_first)
            first = (first - self._offsets[0]) & records.MASK32
            t_first = (t_first - self._offsets[1]) & records.MASK32
            # If the frequency rose since the interval was set, end the interval early.  A sum must not overflow.
            if self._n and not self._fits(n, t_first, s):
                self._close()
                closed = True
            self._merge(first, n, t_first, s, shortest, longest, amplitude, flags)
        else:
            self._silent += 1
            self._flags |= flags
        if not closed and self._elapsed >= self._interval:
            self._elapsed = 0
            if self._n:
                self._close()
                closed = True
        elif closed:
            self._elapsed = 1
        return counting.CLOSED if closed else counting.COUNTED

    def _joined_s(self, n, t_first, s):
        """Return S of the open interval joined with the next edges: S1 + S2 + N2 (t2 - t1), exactly."""
        return self._s + s + n * ((t_first - self._t_first) & records.MASK32)

    def _fits(self, n, t_first, s):
        return self._joined_s(n, t_first, s) < records.U32 and self._n + n < records.U16

    def _merge(self, first, n, t_first, s, shortest, longest, amplitude, flags):
        if self._n:
            self._s = self._joined_s(n, t_first, s)
        else:
            self._first, self._t_first, self._s = first, t_first, s
        self._n += n
        if shortest:
            self._shortest = min(self._shortest or shortest, shortest)
            self._longest = max(self._longest, longest)
        self._flags |= flags
        self._amplitude += amplitude
        self._amplitudes += 1

    def _close(self):
        sums = self.sums
        sums[counting.FIRST_EDGE] = self._first
        sums[counting.N] = self._n
        sums[counting.T_FIRST] = self._t_first
        sums[counting.S] = self._s
        sums[counting.SHORTEST] = self._shortest
        sums[counting.LONGEST] = self._longest
        sums[counting.AMPLITUDE] = self._amplitude // self._amplitudes
        sums[counting.FLAGS] = self._flags
        self._n = self._shortest = self._longest = self._flags = self._amplitude = self._amplitudes = 0


class SceneBoard(Board):
    """A board with the sensor values of the scene.  name, uid: as in board.Board."""

    def __init__(self, scene, name, uid):
        self.name = name
        self.uid = uid
        self._scene = scene

    def temperature_mk(self):
        return self._scene.temperature_mk

    def supply_mv(self):
        return self._scene.supply_mv

    def marks(self):
        return self._scene.marks

    def begin_self_test(self):
        return "no self-test on a virtual board: its counts are simulated"
