"""`coilcount tune` as its user sees it, on the small simulated captures."""

import json
import shutil
from pathlib import Path

import pytest
from calls import caller
from coilcount.capture.labels import labels_path, read_labels, write_labels
from coilcount.desk import tune_inputs
from coilcount.model import Label
from coilcount.settings import RATES, load_settings

CAPTURES = Path(__file__).parents[2] / "captures"
NAMES = ("orchard-path", "mineral-soil", "warm-up-unplug")


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """run(*words) -> (exit code, stdout, stderr), in a folder with three labelled captures; few thresholds."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(tune_inputs, "GRID", (2.5, 3.5, 5.5, 12.0))
    for name in NAMES:
        take(tmp_path / "field", name)

    return caller(capsys)


def take(folder, name, keep=lambda label: True):
    """Copy a capture and those of its labels that `keep` likes; returns the capture."""
    folder.mkdir(exist_ok=True)
    capture = Path(shutil.copy(CAPTURES / f"{name}.ccap.gz", folder))
    write_labels(labels_path(capture), filter(keep, read_labels(CAPTURES / f"{name}.labels.csv")))
    return capture


def test_the_table_and_the_json_show_the_same_counts(run):
    code, out, err = run("tune", "field")
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80
    code, text, _ = run("tune", "field", "--json")
    found = json.loads(text)
    assert (code, found["kind"], found["simulated"], found["best"]) == (0, "tune", True, 0)
    assert [row["threshold"] for row in found["curve"]] == [2.5, 3.5, 5.5, 12.0]
    assert [row["asked_per_minute"] for row in found["rates"]] == list(RATES)
    assert found["in_force"] == next(row for row in found["rates"] if row["asked_per_minute"] == 1.0)
    kept = [row["asked_per_minute"] for row in found["rates"] if (row["outcome"]["rate"] or {})["value"] <= 1]
    assert found["proposed_rate"] in (*kept, None)
    total = sum(recording["minutes"] for recording in found["recordings"])
    for row in found["curve"]:
        made = row["outcome"]
        assert made["rate"]["low"] <= made["false_alarms"] / made["minutes"] <= made["rate"]["high"]
        assert made["minutes"] == pytest.approx(total) and made["passes"] == 23
    chosen = next(row for row in found["curve"] if row["threshold"] == found["candidates"][0]["threshold"])
    assert chosen["outcome"]["rate"]["value"] <= 1
    assert f"threshold {chosen['threshold']:.2f} is the lowest that keeps 1 false alarm a minute" in out
    assert f"{chosen['outcome']['found']}/23" in out
    assert sum(kind["passes"] for kind in found["kinds"]) == 23
    assert len(found["cross"]["groups"]) == 3
    assert "Too few data to know 1 a minute" in out and "Too few data to know 1 a minute" in found["cautions"][0]


def test_a_rate_that_keeps_the_wanted_one_is_proposed_and_replay_gives_its_alerts(run):
    code, text, _ = run("tune", "field", "--false-alarms-per-minute", "20", "--json")
    found = json.loads(text)
    rate = found["proposed_rate"]
    row = next(row for row in found["rates"] if row["asked_per_minute"] == rate)
    assert code == 0 and row["outcome"]["rate"]["value"] <= 20
    _, out, _ = run("tune", "field", "--false-alarms-per-minute", "20")
    assert f"(--false-alarms {rate:g})." in " ".join(out.split())
    _, lines, _ = run("replay", "field", "--json", "--false-alarms", str(rate))
    alerts = [line for line in map(json.loads, lines.splitlines()) if line["kind"] == "alert"]
    # Some passes have several alerts, so that there are at least as many as finds and false alarms together.
    assert len(alerts) >= row["outcome"]["false_alarms"] + row["outcome"]["found"]
    found_by = [line for line in alerts if line["score"] >= row["threshold"]]
    assert len(found_by) >= row["outcome"]["found"]


def test_the_saved_settings_give_the_same_alerts_and_say_where_they_come_from(run, tmp_path):
    (tmp_path / "mine.toml").write_text("schema = 1\n[tracker]\nhold = false\n[live]\nsound = true\n")
    rate = ("--false-alarms-per-minute", "0.5")
    code, out, err = run("tune", "field", *rate, "--settings", "mine.toml", "--save-settings", "out.toml", "--json")
    assert (code, err) == (0, "")
    candidate = json.loads(out)["candidates"][0]
    settings = load_settings(tmp_path / "out.toml")
    assert settings.tracker["threshold"] == candidate["threshold"]
    assert (settings.tracker["hold"], settings.live["sound"]) == (False, True)
    text = (tmp_path / "out.toml").read_text()
    for recording in json.loads(out)["recordings"]:
        assert recording["start_utc"] in text and recording["sha256"][0] in text
    assert "3 recordings, simulated" in text and "False alarms a minute asked for: 0.5" in text
    # A replay with the file raises as many alerts as the report counted: false alarms, and those of found passes.
    code, out, _ = run("tune", "field", *rate, "--settings", "out.toml", "--json")
    assert json.loads(out)["in_force"]["outcome"] == candidate["outcome"]
    code, _, err = run("tune", "field", "--save-settings", "out.toml")
    assert code == 2 and "not overwritten" in err


def test_a_site_is_a_folder_and_one_site_cannot_be_checked(run, tmp_path):
    take(tmp_path / "hill", "quiet-bench")
    code, out, _ = run("tune", "field", "hill", "--by", "site", "--json")
    assert [group["group"] for group in json.loads(out)["cross"]["groups"]] == ["field", "hill"]
    code, out, _ = run("tune", "field", "--by", "site")
    assert code == 0 and "Only one site" in out
    code, out, _ = run("tune", "field/orchard-path.ccap.gz")
    assert code == 0 and "Only one recording" in out


def test_other_settings_are_tried_only_if_asked(run, tmp_path):
    vary = ("--vary", "widths_s = [[0.13, 0.2], [0.13, 0.2, 0.32, 0.5]]")
    code, out, _ = run("tune", "field/orchard-path.ccap.gz", *vary, "--json", "--save-settings", "out.toml")
    found = json.loads(out)
    assert code == 0 and [one["changed"] for one in found["candidates"]] == [{}, {"widths_s": [0.13, 0.2]}]
    best = found["candidates"][found["best"]]
    widths = tuple(best["changed"].get("widths_s", (0.13, 0.2, 0.32, 0.5)))
    assert load_settings(tmp_path / "out.toml").tracker["widths_s"] == widths
    for words, said in (("nonsense", "is \"nonsense\""), ("threshold = [3]", "cannot change the threshold"),
                        ("baselin_s = [3]", "baseline_s"), ("baseline_s = [1000]", "from 0.5 to 60"),
                        ("baseline_s = 3", "--vary"), ("baseline_s = []", "no value")):  # fmt: skip
        code, _, err = run("tune", "field", "--vary", words)
        assert code == 2 and said in err and err.count("\n") == 1


def test_recordings_that_cannot_be_used_are_left_out_and_the_rest_is_done(run, tmp_path):
    field = tmp_path / "field"
    shutil.copy(CAPTURES / "quiet-bench.ccap.gz", field)  # no labels
    shutil.copy(field / "orchard-path.ccap.gz", field / "twice.ccap.gz")
    shutil.copy(field / "orchard-path.labels.csv", field / "twice.labels.csv")
    (field / "no.ccap").write_text("hello\n")
    (field / "mineral-soil.labels.csv").write_text("start_s\n")
    cut = field / "warm-up-unplug.ccap.gz"
    cut.write_bytes(cut.read_bytes()[:-20_000])
    code, out, err = run("tune", "field", "--json")
    found = json.loads(out)
    assert code == 0 and [Path(one["file"]).name for one in found["recordings"]] == [
        "orchard-path.ccap.gz", "warm-up-unplug.ccap.gz"
    ]  # fmt: skip
    assert "has no labels" in err and "no.ccap" in err and "mineral-soil.labels.csv" in err
    # The folder's two copies of one recording must not be on both sides of the check.
    assert "same recording" in err or "once" in err
    assert found["recordings"][-1]["complaint"] and "sound part was used" in err
    assert found["recordings"][-1]["left_out"] > 0  # labels behind the cut


def test_proposals_and_overlaps_are_mentioned(run, tmp_path):
    """Nobody should wonder why the alerts of unconfirmed proposals count as false alarms."""
    path = labels_path(take(tmp_path / "mine", "orchard-path"))
    labels = read_labels(path)
    path.unlink()
    write_labels(path, [*labels, labels[0], Label(30.0, 31.0, 30.5, "?")])
    _, out, err = run("tune", "mine", "--json")
    assert "1 proposal is not confirmed and no label" in err and "overlap" in err and err.count("\n") == 2
    assert "1 proposal is not confirmed" in " ".join(json.loads(out)["cautions"])
    _, _, err = run("compare", "mine", "--threshold", "4.8", "6")
    assert "1 proposal is not confirmed" in err and "overlap" in err


def test_labels_of_one_class_or_without_objects(run, tmp_path):
    take(tmp_path / "iron", "orchard-path", keep=lambda label: label.response == "ferrous")
    code, out, _ = run("tune", "iron", "--false-alarms-per-minute", "60")
    assert code == 0 and "No found pass is labelled non-ferrous" in out
    take(tmp_path / "empty", "quiet-bench")
    code, out, _ = run("tune", "empty", "--picture", "drawn", "--save-settings", "out.toml")
    assert code == 0 and "The labels name no objects" in out
    assert sorted(path.name for path in (tmp_path / "drawn").iterdir()) == ["thresholds.png", "thresholds.svg"]


def test_a_rate_that_no_threshold_keeps_or_that_the_lowest_one_keeps(run, tmp_path):
    take(tmp_path / "bare", "orchard-path", keep=lambda label: False)
    code, out, err = run("tune", "bare", "--save-settings", "out.toml")
    assert code == 1 and "no threshold up to 12 keeps a rate of 1 a minute" in err and "label" in err.lower()
    assert "Found by object" not in out and not (tmp_path / "out.toml").exists()
    code, out, _ = run("tune", "field", "--false-alarms-per-minute", "60")
    assert code == 0 and "Even the lowest threshold that was tried" in out


def test_wrong_input_is_one_line(run, tmp_path):
    shutil.copy(CAPTURES / "quiet-bench.ccap.gz", tmp_path)
    code, out, err = run("tune", "quiet-bench.ccap.gz")
    assert (code, out) == (2, "") and "none of the recordings has labels" in err and "noise" in err
    (tmp_path / "nothing").mkdir()
    for words in (("nothing",), ("absent.ccap",), ("field", "--false-alarms-per-minute", "0")):
        code, out, err = run("tune", *words)
        assert (code, out) == (2, "") and err


def test_pictures(run, tmp_path):
    code, out, _ = run("tune", "field", "--picture", "drawn")
    assert code == 0 and "drawn/detection.svg" in out
    names = {f"{name}.{kind}" for name in ("detection", "thresholds", "objects") for kind in ("svg", "png")}
    assert {path.name for path in (tmp_path / "drawn").iterdir()} == names
    code, _, err = run("tune", "field", "--picture", "drawn", "--save-settings", "out.toml")
    assert code == 2 and "the picture exists" in err and not (tmp_path / "out.toml").exists()
