"""Both interpreters give the same events to the last bit, for a series with everything in it and for three captures."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from coilcount.capture.reader import read_capture
from coilcount.model import Gap, Line
from coilwire import frame, records
from micropython_tool import COILCOUNT, ROOT, run_micropython
from tracker_series import EXACT_HZ, bump_ppb, intervals, noise_ppb

CAPTURES = ROOT / "captures"

# Both interpreters run this.  It reads one call a line (JSON), and prints events and states with floats as hex.
SCRIPT = """
import json, struct, sys
from binascii import hexlify
from PACKAGE.tracker import GridTracker, Tracker

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
        settings = {"threshold": call[2], "widths_s": tuple(call[3]), "noise_ppm_rthz": tuple(call[4])}
        tracker = GridTracker(call[1], *call[5:], **settings) if call[5:] else Tracker(call[1], **settings)
        continue
    for event in getattr(tracker, name)(*call[1:]):
        print(type(event).__name__, " ".join([bits(item) for item in event]))
    if isinstance(tracker, GridTracker):
        for number, event in tracker.further:
            print(number, type(event).__name__, " ".join([bits(item) for item in event]))
        tracker.further.clear()
    count += 1
    if count % 25 == 0:
        print("state", " ".join([bits(item) for item in tracker.state]))
        print("counts", " ".join([bits(item) for item in tracker.noise_counts.state()]), tracker.broad_dips)
        print("thresholds", " ".join([bits(item) for item in tracker.thresholds]))
print("end", tracker.repaired, tracker.mended, tracker.reference, tracker.reference_hz)
"""


def calls():
    n = 1500
    t = np.arange(n) * 0.02
    y = noise_ppb(n, 3) + bump_ppb(n, 5.0, 9000, 0.25) + bump_ppb(n, 8.0, -5000, 0.15)
    y = y + np.where((t > 14) & (t < 20), 12_000, 0) + np.rint(300 * t).astype(np.int64)
    records = intervals(y * 1e-9, {6.7003: 1, 11.2: -1}, 2**32 - 100_000, 2**32 - 10_000_000, 65_500)
    out = [["new", 0.02, 4.0, [0.13, 0.2, 0.32, 0.5], []]]
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
    out.append(["new", 0.05, 5.0, [0.2, 0.4, 0.8], [0.3] * 10 + [0.1] * 15])
    slow = noise_ppb(800, 9) + bump_ppb(800, 6.0, 9000, 0.3)
    # Times past 2^31 us, and one row that is missing.
    out += [["reading", 3 * 10**9 + k * 50_000, EXACT_HZ + v] for k, v in enumerate(slow.tolist()) if k != 70]
    out.append(["finish"])
    out.append(["new", 0.02, 4.8, [0.13, 0.2, 0.32, 0.5], []])
    for k, v in enumerate(spiked().tolist()):
        if k not in (448, 700, 701):
            out.append(["reading", k * 20_000, EXACT_HZ + v])
    out.append(["finish"])
    return "".join(json.dumps(call) + "\n" for call in out)


def spiked():
    """Spikes of every kind among passes: at the start, in pairs, after lost readings, beyond the range, at the end."""
    y = noise_ppb(1200, 21) + bump_ppb(1200, 9.0, 9000, 0.25) + bump_ppb(1200, 16.0, -20_000, 0.15)
    for at, spike in SPIKES.items():
        y[at : at + len(spike)] += spike
    return y


EDGE = 2_000_000
SPIKES = {
    0: (EDGE,), 30: (-EDGE,), 100: (EDGE, -EDGE), 300: (EDGE * 6 // 10, EDGE * 4 // 10), 449: (3 * EDGE,),
    455: (-900_000_000,), 600: (10**10, 10**9), 800: (EDGE, EDGE, EDGE), 1198: (EDGE,),
}  # fmt: skip


def capture_calls(name, learned):
    """The calls for a capture of the repository.  Their times are the host's arrival times."""
    out = [["new", 0.02, 4.2, [0.13, 0.2, 0.32, 0.5], learned]]
    for entry in read_capture(CAPTURES / f"{name}.ccap.gz"):
        if isinstance(entry, Gap):
            out.append(["gap", round(entry.start_host_s * 1e6)])
        if not isinstance(entry, Line):
            continue
        sound = frame.parse(entry.data)
        record = records.read(sound) if sound else None
        if isinstance(record, records.Interval):
            sums = (record.sequence, record.first_edge, record.n, record.t_first, record.s)
            out.append(["interval", round(entry.host_s * 1e6), *sums])
    out.append(["finish"])
    return "".join(json.dumps(call) + "\n" for call in out)


def run_here(stdin, tmp_path):
    script = tmp_path / "here.py"
    script.write_text(SCRIPT.replace("PACKAGE", "coilcount.tracker"))
    done = subprocess.run([sys.executable, str(script)], input=stdin, capture_output=True, text=True, check=True)
    return done.stdout


def both(stdin, tmp_path):
    """The lines that each interpreter prints for the calls in `stdin`."""
    (tmp_path / "coiltrack").symlink_to(COILCOUNT / "tracker")
    script = tmp_path / "there.py"
    script.write_text(SCRIPT.replace("PACKAGE", "coiltrack"))
    here = run_here(stdin, tmp_path).splitlines()
    return here, run_micropython(script, paths=[tmp_path], stdin=stdin).splitlines()


def test_both_interpreters_give_the_same_events(tmp_path: Path):
    here, there = both(calls(), tmp_path)
    kinds = [line.split()[0] for line in here]
    assert kinds.count("Alert") >= 12 and kinds.count("Hold") >= 2 and kinds.count("state") > 80
    assert here == there
    # All but the three in a row, which are no spike.
    assert here[-1].split()[2] == str(sum(map(len, SPIKES.values())) - len(SPIKES[800]))


def test_several_thresholds_at_once_are_as_each_alone_in_both_interpreters(tmp_path: Path):
    thresholds = [2.5, 3.5, 7.0, 30.0]
    lines = calls().splitlines()
    # "set_threshold" moves the first threshold alone, so it is left out.
    without = [line for line in lines if "set_threshold" not in line]
    grid = [json.dumps([*json.loads(line), thresholds]) if '["new"' in line else line for line in without]
    here, there = both("".join(line + "\n" for line in grid), tmp_path)
    assert here == there
    for number, threshold in enumerate(thresholds):
        new = [json.loads(line) for line in without]
        own = [[*call[:2], threshold, *call[3:]] if call[0] == "new" else call for call in new]
        alone = run_here("".join(json.dumps(call) + "\n" for call in own), tmp_path).splitlines()
        events = [line for line in alone if line.startswith(("Alert", "Hold"))]
        assert [line[2:] for line in here if line.startswith(f"{number} ")] == events
        assert len(events) > 10


def long_calls():
    """Four minutes with passes of both signs and slow lifts of the coil, for thresholds from rates of false alarms."""
    n = 12_000
    y = noise_ppb(n, 31)
    for k in range(16):
        y = y + bump_ppb(n, 8.0 + 14.3 * k, (-1) ** k * 600 * 1.3**k, 0.1 + 0.03 * (k % 9))
        y = y + bump_ppb(n, 15.0 + 14.3 * k, -3000, 2.0)
    out = [["new", 0.02, 0.0, [0.13, 0.2, 0.32, 0.5], [], [], [0.1, 0.3, 3.0]]]
    for k, v in enumerate(y.tolist()):
        if k == 9000:
            out.append(["set_false_alarms", 0.5])
        out.append(["reading", k * 20_000, EXACT_HZ + v])
    out.append(["finish"])
    return "".join(json.dumps(call) + "\n" for call in out)


def test_thresholds_from_rates_are_the_same_in_both_interpreters(tmp_path: Path):
    here, there = both(long_calls(), tmp_path)
    assert here == there
    finals = [line for line in here if "Alert" in line and "'final'" in line]
    assert sum("None" not in line.split()[-1] for line in finals) > 20  # the rarity is known
    # Some of the 16 lifts are taken for broad dips, so that their code runs here, too.  How many is no matter of the
    # interpreter: this series has 3, and others of this kind, with seven other seeds of the noise, had 0 to 8.
    assert int([line for line in here if line.startswith("counts")][-1].split()[-1]) >= 3
    assert len({line for line in here if line.startswith("thresholds")}) > 50


LEARNED = [3.0] * 12 + [1.0, 0.3] + [0.1] * 11


@pytest.mark.parametrize(
    ("name", "learned", "alerts"),
    [("orchard-path", [], 8), ("orchard-path", LEARNED, 8), ("warm-up-unplug", [], 4), ("mineral-soil", LEARNED, 6)],
)
def test_both_interpreters_find_the_same_in_a_capture(tmp_path, name, learned, alerts):
    here, there = both(capture_calls(name, learned), tmp_path)
    assert sum(line.startswith("Alert") and "'final'" in line for line in here) >= alerts
    assert here == there
