"""Tones through the pipe of a player.

There is no sound card here.  A fake player stands for paplay: a real process with a real pipe, which keeps what comes.
"""

import os
import signal
import time

import numpy as np
import pytest
from coilcount.face import player
from coilcount.face.player import NONE_HERE, Player, Program, programs_here
from coilcount.face.sound import Speaker
from coilcount.face.tone import Tone
from coilcount.face.tone_samples import RATE_HZ
from coilcount.live.readout import Readout
from coilcount.model import Alert

TONE = Tone(1.0, 0.18, 480.0, 750.0, 0.25)


@pytest.fixture
def heard(tmp_path, monkeypatch):
    """A folder with a fake paplay alone in it, as the search path; gives the file of samples that it keeps."""
    return fake(tmp_path, monkeypatch, "paplay", f'echo $$ > "{tmp_path}/pid"; exec cat > "{tmp_path}/heard"')


def fake(tmp_path, monkeypatch, name, script):
    program = tmp_path / "bin" / name
    program.parent.mkdir(exist_ok=True)
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{program.parent}:/usr/bin:/bin")
    return tmp_path / "heard"


def wait_for(condition, most_s=10.0):
    until = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.01)


def samples_in(path):
    return np.frombuffer(path.read_bytes()[: path.stat().st_size // 2 * 2], "<i2").astype(float)


def test_a_tone_comes_out_of_the_pipe_at_the_pace_of_the_clock(heard):
    playing = Player(programs_here())
    begun_s = time.monotonic()
    wait_for(lambda: heard.exists() and heard.stat().st_size > 0)
    playing.play(TONE)
    wait_for(lambda: np.abs(samples_in(heard)).max(initial=0) > 8000)
    time.sleep(0.4)
    playing.stop()
    took_s = time.monotonic() - begun_s
    wave = samples_in(heard)
    assert playing.check() == ""
    # Never further ahead of the clock than the player is asked to hold, so that a tone is heard soon.
    assert len(wave) / RATE_HZ < took_s + player.AHEAD_S + player.BLOCK_S
    loud = np.flatnonzero(np.abs(wave) > 100)
    assert (loud[-1] - loud[0]) / RATE_HZ == pytest.approx(0.18, abs=0.01)
    assert not os.path.exists(f"/proc/{int((heard.parent / 'pid').read_text())}")


def test_too_many_tones_are_left_out_while_the_player_takes_nothing(heard):
    playing = Player(programs_here())
    wait_for(lambda: heard.exists() and heard.stat().st_size > 0)
    os.kill(int((heard.parent / "pid").read_text()), signal.SIGSTOP)
    for _ in range(1000):
        playing.play(TONE)  # a queue without an end would keep them, one that waits would not return
    assert playing._tones.qsize() <= 16
    playing.stop()


def test_a_killed_player_is_a_failure_in_words(heard):
    playing = Player(programs_here())
    wait_for((heard.parent / "pid").exists)
    wait_for(lambda: (heard.parent / "pid").read_text().strip())
    time.sleep(1.1)  # it has started: no other program would be tried
    os.kill(int((heard.parent / "pid").read_text()), signal.SIGKILL)
    wait_for(playing.check)
    assert playing.check() == "the sound has ended: paplay stopped (exit code -9)"
    playing.play(TONE)
    playing.stop()


def test_a_player_that_takes_nothing_is_given_up(heard, monkeypatch):
    monkeypatch.setattr(player, "STALLED_S", 0.5)
    playing = Player(programs_here())
    wait_for(lambda: heard.exists() and heard.stat().st_size > 0)
    pid = int((heard.parent / "pid").read_text())
    os.kill(pid, signal.SIGSTOP)
    wait_for(playing.check)
    assert playing.check() == "the sound has ended: paplay took no sound for 0.5 s"
    playing.stop()
    wait_for(lambda: not os.path.exists(f"/proc/{pid}"))


def test_a_program_that_cannot_start_gives_way_to_the_next(heard, tmp_path, monkeypatch):
    fake(tmp_path, monkeypatch, "aplay", f'exec cat > "{tmp_path}/heard by aplay"')
    fake(tmp_path, monkeypatch, "paplay", "exit 1")
    assert [program.name for program in programs_here()] == ["paplay", "aplay"]
    playing = Player(programs_here())
    wait_for(lambda: (tmp_path / "heard by aplay").exists() and (tmp_path / "heard by aplay").stat().st_size)
    playing.stop()
    broken = Player([Program("aplay", (str(tmp_path / "nowhere"),))])
    wait_for(broken.check)
    assert "aplay cannot be started (No such file or directory)" in broken.check()
    broken.stop()


def test_the_speaker_reports_once_and_tries_again_when_it_is_switched_on(heard, tmp_path, monkeypatch):
    readout, reports = Readout(), []
    alert = Alert("settled", 1, 5.0, 5.2, None, 5.1, False, 1, "non-ferrous", (), 9.0, 10.0, 0.25, 0.9, 0.2)
    (tmp_path / "no").mkdir()
    with Speaker(readout, reports.append) as speaker:
        speaker.tick(0.0)
        assert not (tmp_path / "pid").exists()  # off unless it is asked for
        readout.facts.sound_on = True
        speaker.tick(0.1)
        wait_for(lambda: heard.exists() and heard.stat().st_size > 0)
        speaker.show(alert)
        wait_for(lambda: np.abs(samples_in(heard)).max(initial=0) > 8000)
        readout.facts.sound_on = False
        speaker.tick(0.2)
        assert reports == []
        monkeypatch.setenv("PATH", str(tmp_path / "no"))
        for _ in range(2):
            readout.facts.sound_on = True
            speaker.tick(0.3)
            assert not readout.facts.sound_on
        speaker.tick(0.4)
        assert reports == [NONE_HERE, NONE_HERE]
