"""Plain lines: one for each event."""

import io

from coilcount.face.plain import PlainLines
from coilcount.live.readout import Readout
from coilcount.model import MarkMade, Notice, Silence
from readouts import alert, point


def test_plain_lines_one_for_each_event_and_quiet_only_warnings():
    outputs = [
        point(0.02, 0), point(0.04, 0), alert("raised", 0), alert("settled", -1, "ferrous"),
        alert("final", -1, "ferrous", released_s=10.5), Silence(11.0, 14.0, "unplugged", True), MarkMade(15.0, "key 1"),
        Notice(None, "warning", "the firmware is older than this program"),
    ]  # fmt: skip
    loud, quiet = io.StringIO(), io.StringIO()
    views = [PlainLines(Readout(), loud), PlainLines(Readout(), quiet, quiet=True)]
    for view in views:
        for output in outputs:
            view.show(output)
        view.tick(10.0)
        view.tick(10.1)
    lines = loud.getvalue().splitlines()
    assert len(lines) == len(outputs)  # no line for the second point, one of status
    assert "first frequency 25 000.000 Hz" in lines[0]
    assert "▼ fell -8.00 ppm (-0.200 Hz), ferrous response, " in lines[2]
    assert "gap of 3.0 s: unplugged, measured by the host's clock" in lines[4]
    assert lines[-1].startswith("status 0:00")
    assert quiet.getvalue().splitlines() == [f"{'':>9} warning: the firmware is older than this program"]
