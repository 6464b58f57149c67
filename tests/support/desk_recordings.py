"""Recordings with everything that can happen in one, for the tests of the desk.  Simulated by plain arithmetic."""

import random
from pathlib import Path

from board_lines import HEADER, Source, entries, hello, line, passes
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.desk.recordings import Recording
from coilcount.model import Entry, Gap, Header, Imported, Line, Operator
from coilcount.settings import defaults
from coilwire import records


def eventful(seed: int) -> list[Entry]:
    """Return about 75 s of a board: passes, rests, noise, lost and damaged records, keys, a gap, another interval.

    Twice a level stays long enough for an auto-hold.  Once the frequency is far out of range for 7 s.
    """
    rng = random.Random(seed)
    at_s = sorted(rng.uniform(6, 56) for _ in range(14))
    moving = passes(at_s, rng.choice([4.0, 8.0, 20.0]), width_s=rng.choice([0.15, 0.3]))
    rests = [(rng.uniform(12, 20), rng.uniform(3, 20)), (rng.uniform(30, 36), -rng.uniform(3, 20))]
    drift = rng.uniform(-0.3, 0.3)

    def frequency(t: float) -> float:
        level = sum(ppm for start, ppm in rests if start < t < start + 4.0)
        far = 1.06 if 44.0 < t < 51.0 and seed % 2 else 1.0
        return moving(t) * far * (1 + 1e-6 * (level + drift * t))

    feed: list[Entry] = list(entries(Source(frequency, 0.5, seed), 56.0))
    for k in rng.sample(range(200, len(feed) - 50), 12):
        feed[k] = Line(feed[k].host_s, feed[k].data[:-1] + b"?")
    lost = rng.randrange(400, 2400)
    del feed[lost : lost + rng.choice([3, 30, 160])]
    acts = [("freeze", None), ("freeze", None), ("thaw", None), ("false_alarms", 10.0)]
    acts += [("threshold", 9.0), ("threshold", 0.0), ("mark", None)]
    place = rng.randrange(500, 1500)
    for k, (action, value) in enumerate(acts):
        position = place + 60 * k
        feed.insert(position, Operator(feed[position].host_s, action, value, "gate" if action == "mark" else ""))
    position = rng.randrange(1700, 2300)
    feed.insert(position, Gap(feed[position].host_s, feed[position].host_s - 0.01, "unplugged"))
    second = Source(passes([5.0, 8.0, 11.0], 6.0), 0.4, seed + 100, interval_ms=10, first_tick=77)
    feed.append(line(58.0, hello(2, interval_ms=10)))
    feed += [line(58.0 + k / 100, second.interval()) for k in range(1, 1400)]
    feed.append(line(72.1, records.Stopped(14_100, 50)))
    return [HEADER, *feed]


def imported(seed: int) -> list[Entry]:
    """Return 60 s of another counter with passes, missing rows, a long silence, temperatures and a freeze."""
    rng = random.Random(seed)
    frequency = passes([8.0, 13.0, 22.0, 41.0, 50.0], 9.0)
    rows: list[Entry] = [
        Imported(
            round(0.02 * k, 6),
            frequency(0.02 * k) * (1 + rng.gauss(0, 4e-7)),
            20.0 + 0.001 * k if k % 50 == 0 else None,
        )
        for k in range(3000)
        if k % 333 and not 1400 < k < 1560
    ]
    rows.insert(1000, Operator(20.0, "freeze"))
    rows.insert(1100, Operator(22.0, "thaw"))
    return [Header("import", "2026-05-01T08:00:00Z", interval_s=0.02, simulated=True), *rows]


def write_recording(path: Path, feed: list[Entry]) -> Recording:
    """Write the entries, the Header first, to a new capture."""
    with CaptureWriter(path, feed[0]) as writer:
        for entry in feed[1:]:
            writer.write(entry)
    return Recording((path,))


def learned_from(feed: list[Entry]) -> dict:
    """What a session with these entries learned, for the header of the next one."""
    chain = Chain(defaults())
    for entry in feed:
        chain.feed(entry)
    assert chain.learned
    return {"coil": "a", "swept_s": chain.swept_s, "state": list(chain.learned)}
