"""Scenes for the firmware's tests.  Each edge is known, so every sum can be computed directly.

This file is also a feed for the virtual board: `python firmware_scenes.py JSON --out FIFO`.  JSON holds the arguments
of `scene`, and `pace`: times real time, or 0 for as fast as possible.  Unlike the product's own feed, it contains no
physics.
"""

import json
import os
import random
import struct
import sys
import time
from pathlib import Path

from coilwire.records import U32
from coilwire.virtual_board import FORMAT, MARKED, PLUGGED, SIZE, UNPLUGGED

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
TICKS_PER_MS = 62_500


def edge_times(ms, seed=1, period=2500, jitter=40, silent=()):
    """Return the timestamps (ticks, not wrapped) of the edges in `ms` milliseconds.

    period, jitter: in ticks; silent: (from, to) in ms, with no edge from `from` until before `to`.
    """
    rng = random.Random(seed)
    times = []
    edge = rng.randrange(period)
    while edge < ms * TICKS_PER_MS:
        for begin, end in silent:
            if begin <= edge // TICKS_PER_MS < end:
                edge = end * TICKS_PER_MS + rng.randrange(period)
        times.append(edge)
        edge += period + (rng.randint(-jitter, jitter) if jitter else 0)
    return times


def scene(ms, seed=1, period=2500, jitter=40, silent=(), marks=(), unplugged=()):
    """Return the records for the FIFO of the simulated counter (coilwire.virtual_board), as bytes.

    marks: ms at which the mark button is pressed; unplugged: (from, to) in ms.
    """
    times = edge_times(ms, seed, period, jitter, silent)
    out = []
    after = 0  # index of the first edge that is not sent yet
    for k in range(ms):
        first = after
        while after < len(times) and times[after] < (k + 1) * TICKS_PER_MS:
            after += 1
        edges = times[first:after]
        periods = [times[i] - times[i - 1] for i in range(max(first, 1), after)]
        control = MARKED * (k in marks)
        control |= sum(UNPLUGGED * (k == a) + PLUGGED * (k == b) for a, b in unplugged)
        out.append(
            struct.pack(
                FORMAT,
                # The scene's own offsets are near the wrap.  The board must start at zero all the same.
                (first + U32 - 100) % U32,
                len(edges),
                (edges[0] + U32 - 5000) % U32 if edges else 0,
                sum(t - edges[0] for t in edges),
                min([*periods, 65535]) if periods else 0,
                min(max(periods), 65535) if periods else 0,
                12_000 + k % 7,
                0,
                293_150 + k % 1000,
                5000 + k % 10,
                control,
            )
        )
    return b"".join(out)


def sums(times, first, n):
    """Return (t_first, S) of the edges first to first + n - 1, computed directly.  Time begins at the first edge."""
    edges = times[first : first + n]
    return (edges[0] - times[0]) % U32, sum(t - edges[0] for t in edges)


def main():
    arguments = json.loads(sys.argv[1])
    pace = arguments.pop("pace")
    data = scene(**arguments)
    out = os.open(sys.argv[3], os.O_WRONLY)
    begin = time.monotonic()
    batch = 4
    try:
        for k in range(0, len(data) // SIZE, batch):
            if pace:
                time.sleep(max(0.0, begin + k / 1000 / pace - time.monotonic()))
            os.write(out, data[k * SIZE : (k + batch) * SIZE])
    except BrokenPipeError:
        pass


if __name__ == "__main__":
    main()
