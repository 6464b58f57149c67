"""TOML files: whatever the given name leads to, one clear line is printed and no file is left behind."""

import os

import pytest
from coilcount.commands.cli import main
from coilcount.errors import InputError
from coilcount.schema import toml_text
from coilcount.schema.plan import read_plan
from coilcount.schema.toml_text import MOST_BYTES, MOST_KEY_PARTS, load, shown
from toml_mutations import try_all

SCENE = "schema = 1\nduration_s = 2\n"


def test_mutated_files_leave_only_errors_of_the_project(tmp_path):
    counts, _ = try_all(tmp_path, 300, seed=1)
    assert sum(counts.values()) == 300
    for kind in ("settings", "plan", "scene"):
        assert counts[kind, "refused"] > 10
    assert counts["scene", "accepted"] > 0


SCENES = {
    "3,000 brackets": (SCENE + "x = " + "[" * 3000 + "]" * 3000, "nested too deeply"),
    "a number of 400 digits": (SCENE + "seed = " + "7" * 400, "seed is 777"),
    "a decimal of 400 digits": (SCENE + "[sweep]\nheight_cm = " + "7" * 400, "[sweep] height_cm is 777"),
    "a number of 5,000 digits": (SCENE + "seed = " + "7" * 5000, "thousands of digits"),
    "5,000 hexadecimal digits": (SCENE + "seed = 0x" + "f" * 5000, "thousands of digits"),
    "a time of 400 digits": (SCENE + "[[mark]]\nat_s = " + "7" * 400, "at_s is 777"),
    "a NUL in a path": (SCENE + 'plan = "a\\u0000b.toml"', "a character that no name can have"),
    "a device": (SCENE + 'plan = "/dev/zero"', "not a regular file"),
    "a pipe": (SCENE + 'plan = "pipe"', "a pipe, not a regular file"),
    "a folder": (SCENE + 'plan = "."', "a folder"),
    "nan in a plan": (SCENE + 'plan = "nan.toml"', "depth_cm is nan"),
    "an unknown key in a plan": (SCENE + 'plan = "x.toml"', 'no key "x"'),
    "a key of many parts": (SCENE + ".".join("a" * 30_000) + " = 1", f"more than {MOST_KEY_PARTS} parts"),
    "an escape sequence as a key": (SCENE + '"\\u001b[2J" = 1', r'no key "\x1b[2J"'),
    "too long": (SCENE + "#" * MOST_BYTES, "longer than 256 KiB"),
}


@pytest.mark.parametrize("name", SCENES)
def test_a_file_that_is_not_a_scene_is_a_one_line_error_and_leaves_no_capture(tmp_path, monkeypatch, capsys, name):
    text, message = SCENES[name]
    monkeypatch.chdir(tmp_path)
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "nan.toml").write_text("depth_cm = nan\n")
    (tmp_path / "x.toml").write_text("x = nan\n")
    (tmp_path / "s.toml").write_text(text)
    before = sorted(tmp_path.iterdir())
    assert main(["simulate", "s.toml", "a.ccap"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("coilcount: ") and err.count("\n") == 1 and message in err
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("words", [["plan", "--plan"], ["settings", "show", "--settings"], ["simulate"]])
def test_no_command_waits_for_a_pipe_or_reads_a_device(tmp_path, monkeypatch, capsys, words):
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe.toml")
    os.symlink("/dev/zero", "zero.toml")
    for name in ("pipe.toml", "zero.toml"):
        assert main([*words, name, *(["a.ccap"] if words == ["simulate"] else [])]) == 2
        assert f"not a regular file ({name})" in capsys.readouterr().err
    assert not (tmp_path / "a.ccap").exists()


def test_a_link_to_a_file_and_a_byte_order_mark_are_accepted(tmp_path):
    (tmp_path / "real.toml").write_bytes(b"\xef\xbb\xbfdepth_cm = 12\r\n")
    (tmp_path / "link.toml").symlink_to("real.toml")
    assert read_plan(tmp_path / "link.toml").depth_cm == 12


def test_an_error_names_the_line_if_it_is_known(tmp_path):
    path = tmp_path / "a.toml"
    for content, place in (
        (b"a = 1\nb = \xff\n", "line 2"),
        (b"a = 1\nb = = 2\n", "line 2"),
        (b"a = 1\n\n" + b".".join([b"b"] * 20) + b" = 1\n", "line 3"),
        (b"a = 1\n\n" + b" . ".join([b'"b"'] * 20) + b" = 1\n", "line 3"),
    ):
        path.write_bytes(content)
        with pytest.raises(InputError, match=place) as error:
            load(path)
        assert str(path) in str(error.value)


def test_prose_and_decimals_are_not_taken_for_a_long_key():
    text = 'a = "' + "one. two. three. " * 50 + '"\nb = [' + "0.25, " * 200 + "]\nc = '" + "..." * 50 + "'\n"
    table, _ = toml_text.parse(text.encode(), "a.toml")
    assert len(table["b"]) == 200


def test_a_value_in_a_message_is_one_short_line():
    assert shown(True) == "true"
    assert shown("a\nb\x9b\u2028") == r"a\nb\x9b\u2028"
    assert len(shown("x" * 1000)) == 60
    assert shown(1 << 99_999) == "a number with thousands of digits"
