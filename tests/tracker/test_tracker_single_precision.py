"""The board has single-precision floats: with every float operation rounded to 24 bits the alerts stay the same.

The rounded tracker is the tracker's own source, with a rounding around each binary operation and constant.
Only alerts whose score is within NEAR of the threshold may differ.  There is none here.
"""

import ast
import struct
import sys
import types

import numpy as np
import pytest
from coilcount.capture.reader import read_capture
from coilcount.model import Line
from coilcount.tracker.records import Alert
from coilcount.tracker.tracker import Tracker
from coilwire import frame, records
from micropython_tool import COILCOUNT, ROOT
from tracker_series import bump_ppb, intervals, noise_ppb

# In the order in which they import one another.
MODULES = ("records", "defaults", "continuity", "series", "spikes", "filters", "priors", "ring", "learner", "bank")
MODULES += ("baseline", "lobes", "judge", "kept", "plain_math", "noise_counts", "breadth", "noise_peaks", "hold")
MODULES += ("alert", "pass_answers", "belonging", "sides", "broad_dips", "final_look", "alerts", "decisions", "front")
MODULES += ("tracker",)
# Relative.  Rounding moved no score of these by more than 2.3e-4, on the drifting frequency; by 9e-6 in the captures.
NEAR = 3e-4


def single(value):
    if isinstance(value, float):
        return struct.unpack("f", struct.pack("f", value))[0]
    return value


def single_sum(values):
    total = 0
    for value in values:
        total = single(total + value)
    return total


class Rounded(ast.NodeTransformer):
    def _wrap(self, node):
        call = ast.Call(ast.Name("single", ast.Load()), [node], [])
        return ast.copy_location(call, node)

    def visit_BinOp(self, node):
        self.generic_visit(node)
        # The % of a message is no arithmetic: single() leaves its text as it is.
        return self._wrap(node)

    def visit_Constant(self, node):
        return self._wrap(node) if isinstance(node.value, float) else node

    def visit_AugAssign(self, node):
        """Make x += y into x = x + y.  The targets in the tracker have no side effects, so this is the same."""
        self.generic_visit(node)
        load = ast.parse(ast.unparse(node.target), mode="eval").body
        value = self._wrap(ast.BinOp(load, node.op, node.value))
        return ast.copy_location(ast.Assign([node.target], value), node)


@pytest.fixture(scope="module")
def rounded_tracker():
    """The Tracker class of the rounded modules, which are a package of their own."""
    package = types.ModuleType("tracker24")
    package.__path__ = []
    sys.modules["tracker24"] = package
    for name in MODULES:
        module = types.ModuleType(f"tracker24.{name}")
        module.__package__ = "tracker24"
        module.single = single
        module.sum = single_sum
        tree = Rounded().visit(ast.parse((COILCOUNT / "tracker" / f"{name}.py").read_text("utf-8")))
        sys.modules[module.__name__] = module
        setattr(package, name, module)
        exec(compile(ast.fix_missing_locations(tree), name, "exec"), module.__dict__)
    yield sys.modules["tracker24.tracker"].Tracker
    for name in ("tracker24", *(f"tracker24.{name}" for name in MODULES)):
        del sys.modules[name]


def alerts_of(tracker, sums):
    events = []
    for interval in sums:
        events += tracker.interval(*interval)
    return [e for e in [*events, *tracker.finish()] if type(e).__name__ == Alert.__name__ and e.stage == "final"]


def of_capture(name):
    out = []
    for entry in read_capture(ROOT / "captures" / name):
        sound = frame.parse(entry.data) if isinstance(entry, Line) else None
        record = records.read(sound) if sound else None
        if isinstance(record, records.Interval):
            out.append((round(entry.host_s * 1e6), *record[:5]))
    return out


def made():
    """Passes on a frequency that has drifted by 300 ppm.  There single precision is most likely to be too coarse."""
    n = 1500
    y = noise_ppb(n, 5) + 300_000 + np.arange(n) * 40
    for at, height, width in ((6.0, 4000, 0.2), (11.0, -3000, 0.15), (16.0, 1500, 0.3), (22.0, -9000, 0.12)):
        y = y + bump_ppb(n, at, height, width)
    y[:50] -= 300_000
    return intervals(y * 1e-9)


# The noise profile of a coil that sways over a lawn: smooth below 2 Hz, flat above.  Made by hand.
LEARNED = (0.7, 0.7, 0.7, 0.95, 0.8, 0.8, 0.8, 0.8, 0.7, 0.6, 0.5, 0.4, 0.2, 0.1) + (0.05,) * 11


@pytest.mark.parametrize("noise", [(), LEARNED], ids=["unknown", "learned"])
@pytest.mark.parametrize("which", ["orchard-path.ccap.gz", "mineral-soil.ccap.gz", "made"])
def test_single_precision_gives_the_same_alerts(which, noise, rounded_tracker):
    sums = made() if which == "made" else of_capture(which)
    threshold = 4.8
    ours = alerts_of(Tracker(0.02, threshold=threshold, noise_ppm_rthz=noise), sums)
    board = alerts_of(rounded_tracker(0.02, threshold=threshold, noise_ppm_rthz=noise), sums)
    near = [a.score for a in ours if abs(a.score / threshold - 1) < NEAR]
    assert near == []
    assert len(ours) >= 2
    assert [(a.raised_us, a.sign, a.response, a.reasons, a.peak_us, a.width_s) for a in board] == [
        (a.raised_us, a.sign, a.response, a.reasons, a.peak_us, single(a.width_s)) for a in ours
    ]
    assert [a.score for a in board] == pytest.approx([a.score for a in ours], rel=NEAR)
    assert any(a.score != b.score for a, b in zip(ours, board, strict=True))  # so it was rounded
