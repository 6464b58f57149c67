"""Logs of other counters with single impossible readings, or with readings too far apart, as a person meets them."""

import json

import numpy as np
import pytest
from coilcount.capture.csv_log import write_log
from coilcount.commands.cli import main
from coilcount.model import Imported
from tracker_series import INTERVAL_S, bump_ppb, noise_ppb

F0_HZ = 25_000.0
EDGE_HZ = 1 / INTERVAL_S  # one edge too many in a reading
SPIKES = {170: (EDGE_HZ,), 512: (EDGE_HZ, -EDGE_HZ), 800: (-3 * EDGE_HZ,), 905: (-22_000.0,)}


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

    def call(*words):
        code = main([str(word) for word in words])
        return code, *capsys.readouterr()

    return call


def write(name, hz, interval_s):
    write_log(name, [Imported(round(k * interval_s, 6), float(frequency_hz)) for k, frequency_hz in enumerate(hz)])


def replayed(run, name):
    code, out, _ = run("replay", name, "--json")
    assert code == 0
    objects = [json.loads(line) for line in out.splitlines()]
    return [item for item in objects if item["kind"] == "alert"], objects[-1]


def test_a_spiked_log_gives_the_alerts_of_the_sound_one_and_every_command_counts_the_spikes(run):
    y = noise_ppb(1000, 31) + bump_ppb(1000, 9.0, 9000, 0.25) + bump_ppb(1000, 15.0, -6000, 0.2)
    hz = F0_HZ * (1 + 1e-9 * y)
    write("sound.csv", hz, INTERVAL_S)
    for at, spike in SPIKES.items():
        hz[at : at + len(spike)] += spike
    write("spiked.csv", hz, INTERVAL_S)
    for name in ("sound", "spiked"):
        assert run("import", f"{name}.csv", f"{name}.ccap")[0] == 0
    sound, before = replayed(run, "sound.ccap")
    spiked, after = replayed(run, "spiked.ccap")
    assert (before["mended"], after["mended"], after["damaged"], after["repaired"]) == (0, 5, 0, 0)
    assert {alert["response"] for alert in sound} >= {"non-ferrous", "ferrous"}
    assert [alert["response"] for alert in spiked] == [alert["response"] for alert in sound]
    assert [alert["peak_s"] for alert in spiked] == pytest.approx([alert["peak_s"] for alert in sound], abs=0.02)
    assert json.loads(run("inspect", "spiked.ccap", "--json")[1])["mended"] == 5
    assert "mended     5 readings that jumped further than a pass can, 0 miscounted edges repaired" in run(
        "inspect", "spiked.ccap"
    )[1]
    assert "mended 5, repaired 0" in run("replay", "spiked.ccap")[1].replace("\n", " ")
    assert "mended     " not in run("inspect", "sound.ccap")[1]


@pytest.mark.parametrize("name", ["orchard-path", "warm-up-unplug", "mineral-soil", "quiet-bench"])
def test_inspect_counts_what_the_replay_of_a_capture_counts(run, name):
    from micropython_tool import ROOT

    path = ROOT / "captures" / f"{name}.ccap.gz"
    summary = replayed(run, path)[1]
    found = json.loads(run("inspect", path, "--json")[1])
    assert (found["mended"], found["repaired"]) == (summary["mended"], summary["repaired"])
    assert summary["mended"] == 0


@pytest.mark.parametrize("interval_s", [0.3, 1.0, 2.0, 60.0])
def test_a_reading_a_second_or_slower_shows_no_pass_and_says_so(run, interval_s):
    y = np.random.default_rng(3).normal(size=300) * 1e-7
    y[[100, 101, 200]] += (3e-5, 2e-5, -6e-5)
    write("slow.csv", F0_HZ * (1 + y), interval_s)
    notice = f"readings are {interval_s:g} s apart, which does not show most passes of an ordinary sweep"
    assert notice in run("import", "slow.csv", "slow.ccap")[2]
    code, out, err = run("replay", "slow.ccap", "--json")
    assert code == 0 and err.count(notice) == 1
    alerts = [json.loads(line) for line in out.splitlines()][:-1]
    assert len(alerts) >= 2
    for alert in alerts:
        assert (alert["response"], alert["confidence"]) == ("uncertain", None)
        assert alert["reasons"][0] == "readings too far apart"
    assert notice not in run("import", "slow.csv", "quiet.ccap", "--quiet")[1]


@pytest.mark.parametrize("interval_s", [0.1, 0.25])
def test_four_readings_a_second_need_no_notice(run, interval_s):
    write("log.csv", F0_HZ + np.random.default_rng(3).normal(size=300) * 1e-3, interval_s)
    assert run("import", "log.csv", "log.ccap")[2] == ""
    assert run("replay", "log.ccap", "--json")[2] == ""
