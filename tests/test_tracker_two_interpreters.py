"""One series with everything in it gives the same events, to the last bit, under CPython and MicroPython."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
from micropython_tool import COILCOUNT, run_micropython
from tracker_series import EXACT_HZ, bump_ppb, intervals, noise_ppb

# Run by both: reads one JSON call a line, prints events and states with floats as hex of their double.
SCRIPT = """
import json, struct, sys
from binascii import hexlify
from PACKAGE.tracker import Tracker

def bits(value):
    if isinstance(value, float):
        return hexlify(struct.pack(">d", value)).decode()
    return repr(value)

tracker = None
count = 0
for line in sys.stdin:
    call = json.loads(line)
    name = call[0]
    if name == "new":
        tracker = Tracker(call[1], threshold=call[2], widths_s=tuple(call[3]))
        continue
    for event in getattr(tracker, name)(*call[1:]):
        print(type(event).__name__, " ".join([bits(item) for item in event]))
    count += 1
    if count % 25 == 0:
        print("state", " ".join([bits(item) for item in tracker.state]))
print("end", tracker.repaired, tracker.reference, tracker.reference_hz)
"""


def calls():
    n = 1500
    t = np.arange(n) * 0.02
    y = noise_ppb(n, 3) + bump_ppb(n, 5.0, 9000, 0.25) + bump_ppb(n, 8.0, -5000, 0.15)
    y = y + np.where((t > 14) & (t < 20), 12_000, 0) + np.rint(300 * t).astype(np.int64)
    records = intervals(y * 1e-9, {6.7003: 1, 11.2: -1}, 2**32 - 100_000, 2**32 - 10_000_000, 65_500)
    out = [["new", 0.02, 4.0, [0.13, 0.2, 0.32, 0.5]]]
    for k, record in enumerate(records):
        if k in (300, 301, 640, 900):
            continue  # lost
        if k == 1050:
            out.append(["freeze"])
        if k == 1200:
            out += [["thaw"], ["set_threshold", 5.5]]
        if k == 1350:
            out.append(["gap", record[0]])
        out.append(["interval", *record])
    out.append(["finish"])
    out.append(["new", 0.05, 5.0, [0.2, 0.4, 0.8]])
    slow = noise_ppb(800, 9) + bump_ppb(800, 6.0, 9000, 0.3)
    # Times past 2^31 us, and one row that is missing.
    out += [["reading", 3 * 10**9 + k * 50_000, EXACT_HZ + v] for k, v in enumerate(slow.tolist()) if k != 70]
    out.append(["finish"])
    return "".join(json.dumps(call) + "\n" for call in out)


def run_here(stdin, tmp_path):
    script = tmp_path / "here.py"
    script.write_text(SCRIPT.replace("PACKAGE", "coilcount.tracker"))
    done = subprocess.run([sys.executable, str(script)], input=stdin, capture_output=True, text=True, check=True)
    return done.stdout


def test_both_interpreters_give_the_same_events(tmp_path: Path):
    (tmp_path / "coiltrack").symlink_to(COILCOUNT / "tracker")
    script = tmp_path / "there.py"
    script.write_text(SCRIPT.replace("PACKAGE", "coiltrack"))
    stdin = calls()
    here = run_here(stdin, tmp_path).splitlines()
    there = run_micropython(script, paths=[tmp_path], stdin=stdin).splitlines()
    kinds = [line.split()[0] for line in here]
    assert kinds.count("Alert") >= 12 and kinds.count("Hold") >= 2 and kinds.count("state") > 80
    assert here == there
