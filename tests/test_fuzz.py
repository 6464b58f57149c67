"""What comes from outside, changed at random: only the project's own errors leave chain, session and readers."""

import io
import json
import random
from pathlib import Path

import pytest
from board_lines import HEADER
from coilcount.capture.reader import read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.chain import Chain
from coilcount.errors import CoilcountError
from coilcount.face.boundary import Boundary
from coilcount.face.cli import main
from coilcount.face.json_out import as_line
from coilcount.face.plain import JsonLines, PlainLines
from coilcount.face.readout import Readout
from coilcount.face.session import Session
from coilcount.model import Line
from coilcount.settings import defaults
from fuzz_input import Lines, sound_lines, write_mutated


def record_nonsense(path: Path, seed: int, count: int) -> tuple[list[Line], list[str]]:
    """`count` random sound records through a session with every kind of plain view; (lines given, failures)."""
    link, readout, out = Lines(sound_lines(random.Random(seed), count)), Readout(), io.StringIO()
    now = [0.0]
    writer = CaptureWriter(path, HEADER)
    boundary = Boundary(lambda: True, clock=lambda: now[0])
    session = Session(
        link=link, chain=Chain(defaults(), points=True), readout=readout, header=HEADER, writer=writer,
        views=[JsonLines(out, "f"), PlainLines(readout, out)], clock=lambda: now[0], boundary=boundary,
    )  # fmt: skip
    before = -1
    while len(link.given) > before:
        before = len(link.given)
        now[0] += 0.1
        session.step(0.0)
        readout.answer()
        out.seek(0)
        out.truncate()
    session.close()
    return link.given, boundary.failures


@pytest.mark.parametrize("seed", range(4))
def test_no_sound_record_stops_a_recording_or_its_chain(tmp_path, seed):
    given, failures = record_nonsense(tmp_path / "n.ccap", seed, 3000)
    assert failures == []
    assert len(given) == 3000
    assert [entry for entry in read_capture(tmp_path / "n.ccap") if type(entry) is Line] == given


def replay_all(path: Path) -> None:
    """A capture through reader, chain and JSON; a CoilcountError is an answer."""
    try:
        entries = read_capture(path)
        chain = Chain(defaults(), points=True)
        for entry in entries:
            for output in chain.feed(entry):
                as_line(output, "f")
        for output in chain.finish():
            line = as_line(output, "f")
            assert line is None or json.loads(line)
    except CoilcountError:
        pass


def test_no_capture_breaks_the_chain(tmp_path):
    for seed in range(150):
        replay_all(write_mutated(random.Random(seed), tmp_path / "m.ccap"))


@pytest.mark.parametrize("command", [["replay"], ["replay", "--json"], ["inspect"], ["inspect", "--json"], ["noise"]])
def test_no_capture_breaks_a_command(tmp_path, command):
    for seed in range(20):
        path = write_mutated(random.Random(1000 + seed), tmp_path / "m.ccap")
        assert main([*command, str(path)]) in (0, 1, 2)
