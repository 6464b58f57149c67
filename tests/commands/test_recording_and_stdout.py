"""What record and live print around a run, names made of date and time, and "-" as standard output."""

import csv
import io
import re
import shlex
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest
from coilcount.commands.cli import main
from coilcount.commands.listen_loop import automatic_name, next_words
from coilcount.settings import defaults, user_file
from command_line import INTERRUPTIBLE

CAPTURES = Path(__file__).parents[2] / "captures"
QUIET = str(CAPTURES / "quiet-bench.ccap.gz")


@pytest.fixture(autouse=True)
def no_settings_of_mine(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def test_record_says_how_to_stop_it_and_ends_with_a_summary_and_the_next_command(tmp_path):
    done = subprocess.run(
        [*INTERRUPTIBLE, "record", "--virtual", "--for", "1"], capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stderr) == (0, "")
    [name] = [path.name for path in tmp_path.glob("*.ccap")]
    assert re.fullmatch(r"coilcount-\d{4}-\d\d-\d\d-\d{6}\.ccap", name)
    lines = done.stdout.splitlines()
    assert lines[0].startswith("record: SIMULATED, scene demo")
    assert lines[1] == f"record: recording to {name}"
    assert lines[2] == "record: Ctrl-C stops and closes the capture; it ends by itself after 1 s"
    assert any(line.startswith("summary: 1.") for line in lines)
    assert lines[-2:] == [f"recorded: {name}", f"next: coilcount replay {name}"]
    # The command that is named there works.
    assert main(shlex.split(lines[-1].partition("coilcount ")[2])) == 0


def test_live_records_under_a_name_of_its_own_and_without_a_recording_names_the_option(tmp_path):
    done = subprocess.run(
        [*INTERRUPTIBLE, "live", "--record", "--virtual", "--for", "0.5"], capture_output=True, text=True, timeout=60
    )
    [name] = [path.name for path in tmp_path.glob("*.ccap")]
    assert f"live: recording to {name}" in done.stdout and f"next: coilcount replay {name}" in done.stdout
    done = subprocess.run(
        [*INTERRUPTIBLE, "live", "--virtual", "--for", "0.5"], capture_output=True, text=True, timeout=60
    )
    assert done.stdout.splitlines()[-1] == "next: coilcount live --record keeps the next sweep"
    assert len(list(tmp_path.glob("*.ccap"))) == 1


def test_an_automatic_name_is_never_one_that_is_taken(tmp_path):
    now = datetime(2026, 11, 26, 18, 30, 12)
    names = []
    for _ in range(3):
        names.append(automatic_name(now))
        (tmp_path / names[-1]).touch()
    assert names == [f"coilcount-2026-11-26-183012{more}.ccap" for more in ("", "-2", "-3")]


def test_the_next_command_can_be_typed_as_it_is_printed():
    words = shlex.split(next_words(["-odd.ccap", "my field.ccap"]))
    assert words == ["coilcount", "replay", "./-odd.ccap", "my field.ccap"]


def test_export_to_standard_output_is_the_csv_and_nothing_else(tmp_path, capsys):
    assert main(["export", QUIET, "-"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert main(["export", QUIET, "out.csv"]) == 0
    assert "readings to out.csv" in capsys.readouterr().out
    assert out == (tmp_path / "out.csv").read_text()


def test_a_series_on_standard_output_is_the_csv_and_nothing_else(tmp_path, capsys):
    assert main(["replay", QUIET, "--series", "-"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    rows = list(csv.DictReader(io.StringIO(out)))
    assert list(rows[0]) == ["time_s", "frequency_hz", "shift_ppm", "baseline_hz", "statistic"]
    assert main(["replay", QUIET, "--series", "out.csv", "--quiet"]) == 0
    assert out == (tmp_path / "out.csv").read_text()
    assert not (tmp_path / "-").exists()


@pytest.mark.parametrize("words", [["export", QUIET, "-"], ["replay", QUIET, "--series", "-"]])
def test_a_reader_that_goes_away_ends_the_command_without_a_complaint(words):
    command = [sys.executable, "-m", "coilcount", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout.readline().startswith(b"time_s,")
        process.stdout.close()
        assert (process.stderr.read(), process.wait(timeout=30)) == (b"", 1)


def test_settings_show_names_the_places_and_the_one_that_is_read(tmp_path, monkeypatch, capsys):
    own = user_file({"HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path / "config")})

    def places(*words):
        assert main(["settings", "show", *words]) == 0
        lines = capsys.readouterr().out.splitlines()
        return [re.search(r"\(([^()]*)\)$", line)[1] for line in lines[-3:]], lines

    assert places()[0] == ["not given", "not there", "not there"]
    own.parent.mkdir(parents=True)
    own.write_text("schema = 1\n[tracker]\nthreshold = 6\n")
    states, lines = places()
    assert states == ["not given", "not there", "read"] and str(own) in lines[-1]
    assert any("threshold" in line and line.endswith(str(own)) for line in lines)
    (tmp_path / "coilcount.toml").write_text("schema = 1\n")
    assert places()[0] == ["not given", "read", "there, not read"]
    (tmp_path / "mine.toml").write_text("schema = 1\n")
    assert places("--settings", "mine.toml")[0] == ["read", "there, not read", "there, not read"]
    assert defaults().tracker["threshold"] != 6
