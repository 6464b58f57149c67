"""Whatever fails in interpreting or showing ends no recording, and is said once."""

import io
import subprocess
import sys
import time

import pytest
from board_lines import HEADER, Source, entries, passes
from coilcount.capture.reader import Report, read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.face.plain import PlainLines
from coilcount.live.boundary import Boundary
from coilcount.live.readout import Readout
from coilcount.live.session import Session
from coilcount.model import Line
from coilcount.settings import defaults
from fuzz_input import Lines
from ptyboard import PtyBoard, interval

FEED = list(entries(Source(passes([6.0], 30.0), 0.3), 8.0))


class Broken:
    """Not a view: it fails at every call but the first few."""

    part = "the picture"

    def __init__(self, error: Exception, good=2) -> None:
        self.calls = 0
        self._error, self._good = error, good

    def show(self, output) -> None:
        self.calls += 1
        if self.calls > self._good:
            raise self._error

    def tick(self, host_s) -> None:
        self.show(None)


def recorded(path, views, chain=None, keys=tuple, recording=True):
    """A short recording; (lines in the capture, sentences as they were reported, the capture's end status)."""
    said: list[str] = []
    now = [61.0]
    boundary = Boundary(lambda: recording, said.append, lambda: now[0])
    session = Session(
        link=Lines(FEED, at_once=60), chain=chain or Chain(defaults(), points=True), readout=Readout(), views=views,
        clock=lambda: now[0], header=HEADER, writer=CaptureWriter(path, HEADER), keys=keys, boundary=boundary,
    )  # fmt: skip
    for _ in range(10):
        session.step(0.0)
        now[0] += 1.0
    session.close()
    assert said == boundary.failures
    report = Report()
    return [entry for entry in read_capture(path, report) if type(entry) is Line], said, report.status


def test_a_view_that_fails_is_said_once_and_the_others_go_on(tmp_path):
    out = io.StringIO()
    broken, gone = Broken(RuntimeError("no ink")), Broken(BrokenPipeError(32, "Broken pipe"))
    gone.part = "the output"
    lines, said, status = recorded(tmp_path / "a.ccap", [broken, gone, PlainLines(Readout(), out)])
    assert (lines, status) == (FEED, "closed")
    rest = "; recording goes on; the capture can be replayed"
    assert said == [
        f"the picture failed at 1:01.0 (RuntimeError: no ink){rest}",
        f"the output failed at 1:01.0 (Broken pipe){rest}",
    ]
    assert broken.calls > 100 and gone.calls == 3  # a pipe that is closed stays so
    assert "alert 1 final" in out.getvalue()


def test_a_chain_that_fails_leaves_the_capture_whole(tmp_path):
    class Broke(Chain):
        """Not the chain: from its fiftieth entry on it has a fault."""

        def __init__(self):
            super().__init__(defaults())
            self.fed, sound = 0, self.feed

            def feed(entry):
                self.fed += 1
                return sound(entry) if self.fed < 50 else 1 / 0

            self.feed = feed

        def finish(self):
            raise RecursionError

    lines, said, status = recorded(tmp_path / "a.ccap", [], Broke())
    assert (lines, status) == (FEED, "closed")
    assert [sentence.partition(" at ")[0] for sentence in said] == ["the tracking failed"]
    assert "ZeroDivisionError" in said[0]


def test_a_keyboard_that_has_gone_ends_nothing(tmp_path):
    def keys():
        raise OSError(5, "Input/output error")

    lines, said, _ = recorded(tmp_path / "a.ccap", [], keys=keys)
    assert lines == FEED and len(said) == 1 and "the keyboard failed at 1:01.0 (Input/output error)" in said[0]


def test_where_nothing_is_recorded_a_failure_is_not_hidden(tmp_path):
    with pytest.raises(RuntimeError, match="no ink"):
        recorded(tmp_path / "a.ccap", [Broken(RuntimeError("no ink"))], recording=False)


@pytest.mark.parametrize("to", ["head -n 1 > first", "cat > /dev/full"], ids=["a reader that goes", "a full disk"])
def test_a_recording_goes_on_when_its_output_cannot_be_written(tmp_path, to):
    """A real shell, pipe and device."""
    into = to.partition(">")[2] if to.startswith("cat") else ""
    with PtyBoard(tmp_path / "port") as board:
        command = f"'{sys.executable}' -m coilcount record --port '{board.path}' --for 2 a.ccap"
        shell = f"{command} >{into}" if into else f"{command} | {to}; exit ${{PIPESTATUS[0]}}"
        with subprocess.Popen(["bash", "-c", shell], cwd=tmp_path, stderr=subprocess.PIPE, text=True) as process:
            sent = 0
            while process.poll() is None:
                board.send(interval(sent))
                sent += 1
                time.sleep(0.02)
            error = process.stderr.read().splitlines()
    assert process.returncode == 1
    assert len(error) == 1 and "the output failed at 0:0" in error[0] and "recording goes on" in error[0]
    report = Report()
    got = [entry for entry in read_capture(tmp_path / "a.ccap", report) if type(entry) is Line]
    assert report.whole and got[-1].host_s > 1.8 and len(got) > 60
