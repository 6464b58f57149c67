"""Settings: their values, the places of their files, and the errors for mistakes."""

import json
import tomllib

import pytest
from coilcount.commands.cli import main
from coilcount.errors import InputError
from coilcount.settings import SECTIONS, defaults, from_toml, load_settings, user_file


def test_the_defaults_lie_in_their_own_ranges_and_round_trip():
    settings = defaults()
    again = from_toml(settings.to_toml(), "x.toml")
    assert again.as_dict() == settings.as_dict()
    assert again.sha256() == settings.sha256()
    assert set(again.origins.values()) == {"x.toml"}
    assert all(row.help for rows in SECTIONS.values() for row in rows)


NOISE = [round(0.3 * 0.85**i, 5) for i in range(25)]


def test_a_noise_profile_is_readable_and_round_trips(tmp_path, capsys):
    text = f"schema = 1\n[tracker]\nnoise_ppm_rthz = {NOISE}\n"
    (tmp_path / "field.toml").write_text(text, encoding="utf-8")
    settings = load_settings(tmp_path / "field.toml")
    assert from_toml(settings.to_toml(), "x").as_dict() == settings.as_dict()
    assert from_toml(settings.to_toml(), "x").tracker["noise_ppm_rthz"] == tuple(NOISE)
    show = ["settings", "show", "--settings", str(tmp_path / "field.toml")]
    assert main([*show, "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)["settings"]["tracker"]["noise_ppm_rthz"]
    assert (shown["value"], shown["unit"]) == (NOISE, "ppm/rtHz")
    assert main([*show, "--toml"]) == 0
    assert tomllib.loads(capsys.readouterr().out)["tracker"]["noise_ppm_rthz"] == NOISE
    assert main(show) == 0
    lines = capsys.readouterr().out.splitlines()
    at = next(i for i, line in enumerate(lines) if "noise_ppm_rthz" in line)
    assert lines[at].split()[1:4] == ["25", "numbers,", "ppm/rtHz"] and lines[at].endswith("field.toml")
    assert [float(word) for line in lines[at + 1 :] if line.startswith("    ") for word in line.split()] == NOISE
    assert all(len(line) <= 80 for line in lines[at + 1 : -3])  # the last three hold paths


def test_values_and_their_origin():
    settings = from_toml("schema = 1\n[tracker]\nthreshold = 6\nhold = false\nwidths_s = [0.2, 0.5]\n", "x.toml")
    assert (settings.tracker["threshold"], settings.tracker["hold"]) == (6.0, False)
    assert settings.tracker["widths_s"] == (0.2, 0.5)
    assert settings.origins["tracker.threshold"] == "x.toml"
    assert settings.origins["tracker.baseline_s"] == "default"
    other = settings.with_threshold(7)
    assert (other.tracker["threshold"], other.origins["tracker.threshold"]) == (7.0, "--threshold")
    assert other.sha256() != settings.sha256() == from_toml(settings.to_toml(), "y").sha256()
    with pytest.raises(TypeError):
        settings.tracker["threshold"] = 1.0


def test_the_hash_is_of_the_values_alone():
    plain = "schema = 1\n[tracker]\nthreshold = 6.0\n[live]\nsound = true\n"
    other = "# mine\nschema = 1\nlive = {sound = true}\n[tracker]\n  threshold = 6\n"
    assert from_toml(plain, "a").sha256() == from_toml(other, "b").sha256()


MISTAKES = [
    ("[tracker]\nthresold = 5", "line 3", 'no key "thresold"', 'Did you mean "threshold"?'),
    ("[traker]\nthreshold = 5", "line 2", "no section [traker]", 'Did you mean "tracker"?'),
    ("threshold = 5", "line 2", '"threshold"', "Known"),
    ("tracker = 5", "line 2", "tracker is a section", "[tracker]"),
    ("[tracker]\nthreshold = 1", "line 3", "tracker.threshold is 1", "from 2 to 100 sigma"),
    ("[tracker]\n\nthreshold = 'x'", "line 4", 'tracker.threshold is "x"', "Give a number"),
    ("[tracker]\nthreshold = true", "line 3", "tracker.threshold is true", "Give a number"),
    ("[tracker]\nthreshold = nan", "line 3", "tracker.threshold is nan", "Give a number"),
    ("[tracker]\nhold = 1", "line 3", "tracker.hold is 1", "true or false"),
    ("[tracker]\nwidths_s = 0.2", "line 3", "tracker.widths_s is 0.2", "list of numbers"),
    ("[tracker]\nwidths_s = [0.5, 0.2]", "line 3", "rise", "from 0.05 to 2 s"),
    ("[tracker]\nwidths_s = []", "line 3", "tracker.widths_s has 0 numbers", "1 to 8 numbers from 0.05 to 2 s"),
    ("[tracker]\nhold = true\nnoise_ppm_rthz = 0.2", "line 4", "noise_ppm_rthz is 0.2", "list of numbers"),
    ("[tracker]\nnoise_ppm_rthz = [\n0.1,\n-0.2]", "line 3", "number 2 of 2 is -0.2", "from 1e-05 to 100000 ppm/rtHz"),
    ("[tracker]\nnoise_ppm_rthz = [0.1, 'x']", "line 3", 'number 2 of 2 is "x"', "list of numbers"),
    ("[tracker]\nnoise_ppm_rthz = [" + 40 * "0.1, " + "]", "line 3", "has 40 numbers", "Give 0 to 32 numbers"),
    ("[board]\ninterval_ms = 20.5", "line 3", "board.interval_ms is 20.5", "whole number from 5 to 100 ms"),
    ("[live]\nredraw_hz = 60", "line 3", "live.redraw_hz is 60", "from 1 to 10 Hz"),
    ("[tracker]\nthreshold = 2021-01-01", "line 3", "tracker.threshold", "Give a number"),
    ("[tracker\nx = 1", "line 2", "not TOML", "Correct"),
]


@pytest.mark.parametrize(("text", "place", "what", "remedy"), MISTAKES)
def test_a_mistake_is_one_line_with_place_and_remedy(text, place, what, remedy):
    with pytest.raises(InputError) as error:
        from_toml("schema = 1\n" + text, "mine.toml")
    message = str(error.value)
    assert "\n" not in message
    for part in ("mine.toml", place, what, remedy):
        assert part in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "schema = 1"),
        ("schema = '1'", "schema = 1"),
        ("schema = 2", "Update coilcount"),
        ("schema = 0", "schema 0"),
    ],
)
def test_a_missing_or_other_schema_is_refused(text, words):
    with pytest.raises(InputError, match=words):
        from_toml(text, "mine.toml")


def test_the_order_in_which_settings_files_are_searched(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    environ = {"XDG_CONFIG_HOME": str(tmp_path / "config")}

    def write(path, threshold):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"schema = 1\n[tracker]\nthreshold = {threshold}\n", encoding="utf-8")

    assert load_settings(None, environ).origins["tracker.threshold"] == "default"
    write(user_file(environ, "linux"), 5)
    assert load_settings(None, environ).tracker["threshold"] == 5
    write(tmp_path / "coilcount.toml", 6)
    assert load_settings(None, environ).tracker["threshold"] == 6
    write(tmp_path / "other.toml", 7)
    assert load_settings("other.toml", environ).tracker["threshold"] == 7
    with pytest.raises(InputError, match="no such settings file"):
        load_settings("missing.toml", environ)
    with pytest.raises(InputError, match="cannot be read"):
        load_settings(tmp_path, environ)
    (tmp_path / "latin.toml").write_bytes(b"schema = 1 # \xe9")
    with pytest.raises(InputError, match="UTF-8"):
        load_settings("latin.toml", environ)


# The XDG base directory specification 0.8; the other two platforms' habits are from memory.
@pytest.mark.parametrize(
    ("environ", "platform", "path"),
    [
        ({"XDG_CONFIG_HOME": "/x", "HOME": "/h"}, "linux", "/x/coilcount/coilcount.toml"),
        ({"XDG_CONFIG_HOME": "x", "HOME": "/h"}, "linux", "/h/.config/coilcount/coilcount.toml"),
        ({"HOME": "/h"}, "linux", "/h/.config/coilcount/coilcount.toml"),
        ({"HOME": "/h"}, "darwin", "/h/Library/Application Support/coilcount/coilcount.toml"),
        ({"APPDATA": "/a"}, "win32", "/a/coilcount/coilcount.toml"),
        ({}, "linux", None),
    ],
)
def test_the_users_file(environ, platform, path):
    found = user_file(environ, platform)
    assert (found and found.as_posix()) == path


def test_settings_show(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "coilcount.toml").write_text("schema = 1\n[tracker]\nthreshold = 6\n", encoding="utf-8")
    assert main(["settings", "show", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["settings"]["tracker"]["threshold"] == {"value": 6.0, "unit": "sigma", "from": "coilcount.toml"}
    assert shown["settings"]["board"]["interval_ms"]["from"] == "default"
    assert shown["sha256"] == load_settings().sha256()
    assert main(["settings", "show"]) == 0
    assert any(
        line.split() == ["threshold", "6.0", "sigma", "coilcount.toml"] for line in capsys.readouterr().out.splitlines()
    )
    assert main(["settings", "show", "--toml"]) == 0
    assert tomllib.loads(capsys.readouterr().out)["tracker"]["threshold"] == 6.0
    (tmp_path / "coilcount.toml").write_text("schema = 1\n[tracker]\nthreshol = 6\n", encoding="utf-8")
    assert main(["settings", "show"]) == 2
    assert 'Did you mean "threshold"?' in capsys.readouterr().err
