"""Input changed at random: chain, session and readers raise no errors except the project's own."""

import random

import pytest
from coilcount.capture.reader import read_capture
from coilcount.commands.cli import main
from coilcount.model import Line
from fuzz_input import record_nonsense, replay_all, write_mutated


@pytest.mark.parametrize("seed", range(4))
def test_no_sound_record_stops_a_recording_or_its_chain(tmp_path, seed):
    given, failures = record_nonsense(tmp_path / "n.ccap", seed, 3000)
    assert failures == []
    assert len(given) == 3000
    assert [entry for entry in read_capture(tmp_path / "n.ccap") if type(entry) is Line] == given


def test_no_capture_breaks_the_chain(tmp_path):
    for seed in range(150):
        replay_all(write_mutated(random.Random(seed), tmp_path / "m.ccap"))


@pytest.mark.parametrize("command", [["replay"], ["replay", "--json"], ["inspect"], ["inspect", "--json"], ["noise"]])
def test_no_capture_breaks_a_command(tmp_path, command):
    for seed in range(20):
        path = write_mutated(random.Random(1000 + seed), tmp_path / "m.ccap")
        assert main([*command, str(path)]) in (0, 1, 2)
