"""The sound of a live run: a player that dies or is missing costs no line of the recording.

There is no sound card here: a fake player, a real process, stands for paplay.
"""

import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from ptyboard import PtyBoard, interval

CLI = [sys.executable, "-m", "coilcount"]


def run(tmp_path, board, *words, path="bin", stdin=subprocess.DEVNULL):
    environment = {**os.environ, "PATH": f"{tmp_path / path}:{os.environ['PATH']}", "XDG_CONFIG_HOME": str(tmp_path)}
    return subprocess.Popen(
        [*CLI, *words, "--port", str(board.path)], cwd=tmp_path, env=environment, stdin=stdin,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.fixture
def paplay(tmp_path):
    program = tmp_path / "bin" / "paplay"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\necho $$ > "{tmp_path}/pid"\nexec cat > "{tmp_path}/heard"\n')
    program.chmod(0o755)
    return program


def wait_for(condition, most_s=10.0):
    until = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.01)


def test_a_killed_player_ends_neither_the_run_nor_the_recording(tmp_path, paplay):
    with PtyBoard(tmp_path / "port") as board:
        process = run(tmp_path, board, "record", "a.ccap", "--sound")
        wait_for((tmp_path / "heard").exists)
        for k in range(200):
            board.send(interval(k))
            time.sleep(0.01)
            if k == 150:  # after more than a second: it has started
                os.kill(int((tmp_path / "pid").read_text()), signal.SIGKILL)
        wait_for(lambda: b"@I,199," in (tmp_path / "a.ccap").read_bytes())
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=10)
    assert process.returncode == 0
    assert err == "coilcount: warning: the sound has ended: paplay stopped (exit code -9)\n"
    assert "200 records, lost 0" in " ".join(out.split())
    entries = [json.loads(line) for line in (tmp_path / "a.ccap").read_text().splitlines()]
    assert sum("@I," in entry.get("l", "") for entry in entries) == 200 and entries[-1]["end"] == "closed"
    heard = np.frombuffer((tmp_path / "heard").read_bytes()[:40_000], "<i2")
    assert 0 < np.abs(heard.astype(float)).max() <= 656  # ticks: readings came


def test_without_a_player_the_run_goes_on_with_one_notice(tmp_path):
    (tmp_path / "bin").mkdir()
    with PtyBoard(tmp_path / "port") as board:
        code = (
            "import os, sys; os.environ['PATH'] = sys.argv[1]; from coilcount.commands.cli import main;"
            "sys.exit(main(['live', '--sound', '--for', '0.5', '--port', sys.argv[2]]))"
        )
        process = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / "bin"), str(board.path)],
            cwd=tmp_path, capture_output=True, text=True, timeout=20, check=False,
        )  # fmt: skip
    assert process.returncode == 0 and process.stderr.count("\n") == 1
    assert "no sound: none of the programs paplay, pw-play, aplay is here" in process.stderr


def test_the_key_s_and_the_setting_switch_the_sound(tmp_path, paplay):
    (tmp_path / "coilcount.toml").write_text("schema = 1\n[live]\nspeaker = true\n")
    with PtyBoard(tmp_path / "port") as board:
        terminal, slave = os.openpty()
        process = run(tmp_path, board, "live", stdin=slave)
        os.close(slave)
        wait_for(lambda: (tmp_path / "heard").exists())
        wait_for(lambda: (tmp_path / "pid").read_text().strip())
        first = int((tmp_path / "pid").read_text())
        os.write(terminal, b"s")
        wait_for(lambda: not os.path.exists(f"/proc/{first}"))
        os.write(terminal, b"s")
        wait_for(lambda: (tmp_path / "pid").read_text().strip() not in ("", str(first)))
        os.write(terminal, b"q")
        out, err = process.communicate(timeout=10)
        os.close(terminal)
    assert (process.returncode, err) == (0, "")
    assert "Traceback" not in out
