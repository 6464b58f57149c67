"""Prints the cost of the tracker in CPython and MicroPython: time a reading, time to make a tracker, memory.

    python tests/bench/tracker_cost.py

It checks nothing.  The times are wall times on this machine: the shortest of several runs over a capture of the
repository, with 20 ms a reading.  MicroPython is the build for desktop computers (64 bits, doubles).  A board is much
slower, and needs half as much memory for each word.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from coilcount.capture.reader import read_capture
from coilcount.model import Line
from coilwire import frame, records
from micropython_tool import COILCOUNT, ROOT, run_micropython

CAPTURE = ROOT / "captures" / "orchard-path.ccap.gz"
# ppm/rtHz, one for each band.  The cost does not depend on the values.
LEARNED = [round(3.0 * 0.8**i, 4) for i in range(25)]

SCRIPT = """
import gc, json, sys, time
from PACKAGE.tracker import Tracker

if hasattr(time, "ticks_us"):
    now = time.ticks_us
    start = lambda: None
    held = lambda: (gc.collect(), gc.mem_alloc())[1]
else:
    import tracemalloc
    now = lambda: time.perf_counter() * 1e6
    start = tracemalloc.start
    held = lambda: (gc.collect(), tracemalloc.get_traced_memory()[0])[1]

intervals, noise = json.loads(sys.stdin.readline())
intervals = [tuple(row) for row in intervals]

def make():
    return Tracker(0.02, noise_ppm_rthz=tuple(noise))

def run(tracker):
    for time_us, sequence, first_edge, n, t_first, s in intervals:
        tracker.interval(time_us, sequence, first_edge, n, t_first, s)

makes, runs = [], []
for _ in range(RUNS):
    begin = now()
    tracker = make()
    made = now()
    run(tracker)
    makes.append(made - begin)
    runs.append(now() - made)
tracker = None
start()
before = held()
tracker = make()
run(tracker)
print(json.dumps([min(runs) / len(intervals), min(makes) / 1000, held() - before]))
"""


def intervals() -> list[tuple[int, ...]]:
    """Return the arguments of Tracker.interval for every interval of the capture."""
    rows = []
    for entry in read_capture(CAPTURE):
        sound = frame.parse(entry.data) if isinstance(entry, Line) else None
        record = records.read(sound) if sound else None
        if isinstance(record, records.Interval):
            rows.append((len(rows) * 20_000 + 10_000, *record[:5]))
    return rows


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "coiltrack").symlink_to(COILCOUNT / "tracker")
        script = folder / "cost.py"
        script.write_text(SCRIPT.replace("PACKAGE", "coiltrack").replace("RUNS", "7"))
        series = intervals()
        print(f"tracker    over {len(series)} readings of {CAPTURE.name}: shortest of 7 runs; memory after a whole run")
        for noise, profile in (([], "no profile"), (LEARNED, "profile")):
            stdin = json.dumps([series, noise]) + "\n"
            command = [sys.executable, str(script)]
            here = subprocess.run(command, input=stdin, capture_output=True, text=True, check=True)
            there = run_micropython(script, paths=[folder], stdin=stdin, timeout=300)
            for interpreter, text in (("CPython", here.stdout), ("MicroPython", there)):
                reading_us, made_ms, size = json.loads(text)
                print(
                    f"  {profile:<12} {interpreter:<12} {reading_us:6.1f} us a reading, {made_ms:7.1f} ms to make, "
                    f"{size} bytes"
                )


if __name__ == "__main__":
    main()
