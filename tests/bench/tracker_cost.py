"""Prints the cost of the tracker in CPython and MicroPython.  It checks nothing.

    python tests/bench/tracker_cost.py

The cost is time a reading, time to make a tracker, and memory: with and without a noise profile, at the default
setting and at a fixed threshold.  The times are wall times on this machine: the shortest of several runs over a capture
of the repository, with 20 ms a reading.  The settings take turns in one process, so that they can be compared whatever
else the machine does.  MicroPython is the build for desktop computers (64 bits, doubles).  A board is much slower, and
needs half as much memory for a word.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from coilcount.capture.reader import read_capture
from coilcount.model import Line
from coilwire import frame, records
from micropython_tool import COILCOUNT, ROOT, run_micropython

CAPTURE = ROOT / "captures" / "orchard-path.ccap.gz"
# ppm/rtHz, one for each band.  The cost does not depend on the values.
PROFILE = [round(3.0 * 0.8**i, 4) for i in range(25)]
FIXED = 4.8  # sigma
# (noise profile, setting, settings of the tracker)
CASES = [
    (word, setting, {**profile, **threshold})
    for word, profile in (("no", {}), ("yes", {"noise_ppm_rthz": PROFILE}))
    for setting, threshold in (("default", {}), (f"threshold {FIXED:g}", {"threshold": FIXED}))
]
RUNS = 9

SCRIPT = """
import gc, json, sys, time
from coiltrack.tracker import Tracker

if hasattr(time, "ticks_us"):
    now = time.ticks_us
    start = lambda: None
    held = lambda: (gc.collect(), gc.mem_alloc())[1]
else:
    import tracemalloc
    now = lambda: time.perf_counter() * 1e6
    start = tracemalloc.start
    held = lambda: (gc.collect(), tracemalloc.get_traced_memory()[0])[1]

intervals, cases, runs = json.loads(sys.stdin.readline())
intervals = [tuple(row) for row in intervals]

def run(tracker):
    for time_us, sequence, first_edge, n, t_first, s in intervals:
        tracker.interval(time_us, sequence, first_edge, n, t_first, s)

made = [[] for _ in cases]
ran = [[] for _ in cases]
for _ in range(runs):
    for i, settings in enumerate(cases):
        begin = now()
        tracker = Tracker(0.02, **settings)
        middle = now()
        run(tracker)
        made[i].append(middle - begin)
        ran[i].append(now() - middle)
tracker = None
start()
out = []
for i, settings in enumerate(cases):
    before = held()
    tracker = Tracker(0.02, **settings)
    run(tracker)
    out.append([min(ran[i]) / len(intervals), min(made[i]) / 1000, held() - before])
    tracker = None
print(json.dumps(out))
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
        script.write_text(SCRIPT)
        series = intervals()
        stdin = json.dumps([series, [settings for _, _, settings in CASES], RUNS]) + "\n"
        command = [sys.executable, str(script)]
        here = subprocess.run(command, input=stdin, capture_output=True, text=True, check=True).stdout
        there = run_micropython(script, paths=[folder], stdin=stdin, timeout=600)
    print(f"{len(series)} readings of {CAPTURE.name}: shortest of {RUNS} runs; memory after a whole run")
    print("| interpreter | noise profile | setting | us a reading | ms to make | bytes |")
    print("|---|---|---|---:|---:|---:|")
    for interpreter, text in (("CPython", here), ("MicroPython", there)):
        for (profile, setting, _), (us, ms, size) in zip(CASES, json.loads(text), strict=True):
            print(f"| {interpreter} | {profile} | {setting} | {us:.1f} | {ms:.1f} | {size} |")


if __name__ == "__main__":
    piped.run(main)
