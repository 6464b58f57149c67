"""Scenes for the firmware's tests: edges one by one, so that every sum can be formed the long way.

Also a feed for the virtual board: `python firmware_scenes.py JSON --out FIFO`, JSON the arguments of
`scene` and `pace`.  The physics has its own feed; this one is exact and knows nothing.
"""

import json
import os
import random
import struct
import sys
import time
from pathlib import Path

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
TICKS_PER_MS = 62_500
U32 = 1 << 32


def edge_times(ms, seed=1, period=2500, jitter=40, silent=()):
    """Timestamps (ticks, not wrapped) of the edges in `ms` milliseconds; none in the `silent` [from, to) ms."""
    rng = random.Random(seed)
    times = []
    at = rng.randrange(period)
    while at < ms * TICKS_PER_MS:
        for begin, end in silent:
            if begin <= at // TICKS_PER_MS < end:
                at = end * TICKS_PER_MS + rng.randrange(period)
        times.append(at)
        at += period + (rng.randint(-jitter, jitter) if jitter else 0)
    return times


def scene(ms, seed=1, period=2500, jitter=40, silent=(), marks=(), unplugged=()):
    """The records of the simulated counter's FIFO (firmware/virtual/simulated.py), as bytes."""
    times = edge_times(ms, seed, period, jitter, silent)
    out = []
    at = 0
    for k in range(ms):
        first = at
        while at < len(times) and times[at] < (k + 1) * TICKS_PER_MS:
            at += 1
        now = times[first:at]
        periods = [times[i] - times[i - 1] for i in range(max(first, 1), at)]
        control = 4 * (k in marks)
        control |= sum((k == a) + 2 * (k == b) for a, b in unplugged)
        out.append(
            struct.pack(
                "<IIIIHHHHIHH",
                # Offsets of the scene's own, near the wrap: a boot must begin at zero all the same.
                (first + U32 - 100) % U32,
                len(now),
                (now[0] + U32 - 5000) % U32 if now else 0,
                sum(t - now[0] for t in now),
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
    """(t_first, S) of the edges first .. first + n - 1, the long way; time begins at the first edge of all."""
    now = times[first : first + n]
    return (now[0] - times[0]) % U32, sum(t - now[0] for t in now)


def main():
    given = json.loads(sys.argv[1])
    pace = given.pop("pace")
    data = scene(**given)
    out = os.open(sys.argv[3], os.O_WRONLY)
    begin = time.monotonic()
    batch = 4
    try:
        for k in range(0, len(data) // 32, batch):
            if pace:
                time.sleep(max(0.0, begin + k / 1000 / pace - time.monotonic()))
            os.write(out, data[k * 32 : (k + batch) * 32])
    except BrokenPipeError:
        pass


if __name__ == "__main__":
    main()
