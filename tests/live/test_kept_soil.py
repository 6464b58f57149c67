"""What a session learned is kept with the coil's name, used by the next session, and stored in the capture.

The board is the real firmware on a simulated coil, ten times as fast as the clock.
"""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from coilcount.capture.kept_state import state_path
from coilcount.commands.cli import main
from coilcount.deploy.firmware_files import firmware_folder
from coilcount.virtual.board import VirtualBoard
from command_line import INTERRUPTIBLE

UID = "VIRTUAL1"
FEED = [sys.executable, "-m", "coilcount.simulate.feed", "--scene", "orchard-path", "--pace", "10"]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COILCOUNT_LEARNED", str(tmp_path / "learned"))
    # A busy computer does not reach 30 s of readings in the time that is recorded here.
    monkeypatch.setattr("coilcount.commands.coil_memory.LEAST_SWEPT_S", 8.0)
    return tmp_path / "learned"


def record(name, *more, seconds="7"):
    """Record `seconds` of the clock, ten times as much of the board; the exit code."""
    with VirtualBoard(firmware_folder(), FEED) as board:
        return main(["record", name, "--port", board.port, "--for", seconds, *more])


def readings(name):
    """The number of intervals in a capture."""
    with open(name, encoding="ascii") as file:
        return sum('"@I,' in line for line in file)


def head(name):
    with open(name, encoding="ascii") as file:
        return json.loads(file.readline())


def replayed(name, capsys):
    assert main(["replay", name, "--json"]) == 0
    return capsys.readouterr().out.splitlines()


def test_the_next_session_starts_with_it_and_its_replay_is_exact(folder, capsys, monkeypatch):
    assert record("first.ccap") == 0
    text = capsys.readouterr().out
    assert "starts with" not in text
    kept = json.loads(state_path(folder, UID).read_text())
    assert (kept["coil"], kept["simulated"], kept["interval_ms"]) == (UID, True, 20.0)
    assert kept["swept_s"] == pytest.approx(0.02 * readings("first.ccap"), abs=0.06)
    assert head("first.ccap")["learned"] is None

    assert record("second.ccap", "--json") == 0
    live = capsys.readouterr().out.splitlines()
    learned = head("second.ccap")["learned"]
    assert learned["state"] == kept["state"] and learned["coil"] == UID
    assert replayed("second.ccap", capsys) == live
    # It is used: without it the same readings give other alerts.
    lines = (folder.parent / "second.ccap").read_text().splitlines(keepends=True)
    lines[0] = json.dumps({**json.loads(lines[0]), "learned": None}) + "\n"
    (folder.parent / "bare.ccap").write_text("".join(lines))
    assert [line.replace("bare", "second") for line in replayed("bare.ccap", capsys)] != live
    newest = json.loads(state_path(folder, UID).read_text())
    heard_s = kept["swept_s"] + 0.02 * readings("second.ccap")
    assert newest["swept_s"] == pytest.approx(heard_s, abs=0.06) and newest["state"] != kept["state"]

    assert record("third.ccap", seconds="1") == 0
    day = newest["saved_utc"][:10]
    text = capsys.readouterr().out
    assert f"starts with the soil that was learned on {day} for coil {UID}; --fresh starts without it" in text
    before = state_path(folder, UID).read_bytes()
    monkeypatch.setattr("coilcount.commands.coil_memory.LEAST_SWEPT_S", 1000.0)
    assert record("fresh.ccap", "--fresh", seconds="2") == 0
    assert "starts with" not in capsys.readouterr().out and head("fresh.ccap")["learned"] is None
    assert state_path(folder, UID).read_bytes() == before  # a short fresh session does not take its place


def test_a_state_of_other_widths_or_damaged_ends_in_a_fresh_start(folder, capsys, monkeypatch):
    assert record("first.ccap") == 0
    capsys.readouterr()
    monkeypatch.setattr("coilcount.commands.coil_memory.LEAST_SWEPT_S", 1000.0)  # nothing takes the place of the first
    (folder.parent / "wide.toml").write_text("schema = 1\n[tracker]\nwidths_s = [0.2, 0.5]\n")
    assert record("wide.ccap", "--settings", "wide.toml", "--json", seconds="2") == 0
    live = capsys.readouterr().out.splitlines()
    assert head("wide.ccap")["learned"] is not None
    assert main(["replay", "wide.ccap", "--json", "--settings", "wide.toml"]) == 0
    assert capsys.readouterr().out.splitlines() == live
    assert record("wide2.ccap", "--settings", "wide.toml", seconds="1") == 0
    assert "starts fresh: the soil that was learned on" in capsys.readouterr().out

    path = state_path(folder, UID)
    value = json.loads(path.read_text())
    # Numbers that the file may hold, and the tracker refuses: the replay warns of the same.
    path.write_text(json.dumps({**value, "state": value["state"][:-1]}))
    assert record("short.ccap", seconds="1") == 0
    assert "what an earlier session learned is damaged, and is not used" in capsys.readouterr().out
    assert main(["replay", "short.ccap"]) == 0
    assert "what an earlier session learned is damaged" in capsys.readouterr().err
    path.write_text("{")
    assert record("damaged.ccap", seconds="1") == 0
    assert "it is damaged, or of another coil" in capsys.readouterr().err
    assert head("damaged.ccap")["learned"] is None


def test_a_folder_that_cannot_be_written_costs_a_warning_and_no_recording(folder, capsys):
    folder.write_text("a file in the way")
    assert record("a.ccap") == 0
    assert "what was learned with this coil cannot be kept in" in capsys.readouterr().err
    assert main(["inspect", "a.ccap", "--json"]) == 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_is_kept_when_a_signal_ends_the_session(folder, number):
    with VirtualBoard(firmware_folder(), FEED) as board:
        process = subprocess.Popen([*INTERRUPTIBLE, "record", "a.ccap", "--port", board.port, "--quiet"])
        try:
            end = time.monotonic() + 60
            while not os.path.exists("a.ccap") or Path("a.ccap").read_bytes().count(b"\n") < 2000:
                assert time.monotonic() < end and process.poll() is None
                time.sleep(0.1)
            process.send_signal(number)
            assert process.wait(30) == 0
        finally:
            process.kill()
            process.wait()
    assert json.loads(state_path(folder, UID).read_text())["swept_s"] > 30


def test_with_a_plan_it_is_kept_under_the_plans_name_and_apart_from_a_real_coil(folder, capsys):
    (folder.parent / "oval.toml").write_text("schema = 1\n[coil]\ndiameter_mm = 120\n")
    assert record("a.ccap", "--build", "oval.toml", seconds="7") == 0
    assert state_path(folder, "oval.toml, simulated").exists()
    assert record("b.ccap", "--build", "oval.toml", seconds="1") == 0
    assert "for coil oval.toml, simulated;" in capsys.readouterr().out
