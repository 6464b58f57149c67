"""The file that keeps what a tracker learned with a coil: its place, its form, and what a damaged one says."""

import json
import os
import stat
from concurrent.futures import ThreadPoolExecutor

import pytest
from coilcount.capture.kept_state import learned_state, load_state, save_state, state_folder, state_path
from coilcount.errors import InputError

STATE = (1.0, 0.02, -3.5e-9, 1e30, 0.1 + 0.2)


def learned(coil="E6614103E7452D2F", state=STATE):
    return learned_state(coil, "2026-11-26T08:00:00Z", 123.456, 20.0, False, state)


def test_what_was_kept_is_read_back_exactly_and_the_newest_wins(tmp_path):
    folder = tmp_path / "deep" / "learned"
    assert load_state(folder, "E6614103E7452D2F") is None
    for state in ((1.0, 2.0), STATE):
        path = save_state(folder, learned(state=state))
    found = load_state(folder, "E6614103E7452D2F")
    assert found == {
        "coil": "E6614103E7452D2F", "saved_utc": "2026-11-26T08:00:00Z", "swept_s": 123.5, "interval_ms": 20.0,
        "simulated": False, "state": list(STATE),
    }  # fmt: skip
    assert os.listdir(folder) == [path.name]
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.parametrize("coil", ["plan.toml", "../../up", "a/b", "ä" * 300, "", "con", "x\n\ud800y"])
def test_every_name_has_a_file_of_its_own_inside_the_folder(tmp_path, coil):
    path = state_path(tmp_path, coil)
    assert path.parent == tmp_path and len(path.name) < 80 and path.name.isascii()
    assert path != state_path(tmp_path, coil + "2")
    save_state(tmp_path, learned(coil))
    assert load_state(tmp_path, coil)["coil"] == coil


@pytest.mark.parametrize(
    "damage",
    [
        lambda value: "",
        lambda value: "[1]",
        lambda value: json.dumps(value)[:-9],
        lambda value: json.dumps({**value, "coil": "another"}),
        lambda value: json.dumps({**value, "format": "else"}),
        lambda value: json.dumps({**value, "schema": "1"}),
        lambda value: json.dumps({**value, "state": []}),
        lambda value: json.dumps({**value, "state": [1.0, "2"]}),
        lambda value: json.dumps({**value, "state": [True]}),
        lambda value: json.dumps({**value, "state": [float("nan")]}),
        lambda value: json.dumps({**value, "state": "1.0"}),
        lambda value: json.dumps({**value, "state": [1]}).replace("[1]", "[1e999]"),
        lambda value: json.dumps({**value, "state": [1]}).replace("[1]", "[" + "9" * 400 + "]"),
        lambda value: json.dumps({**value, "swept_s": None}),
        lambda value: json.dumps({**value, "saved_utc": "yesterday"}),
        lambda value: json.dumps({**value, "saved_utc": 5}),
        lambda value: json.dumps({name: value[name] for name in value if name != "interval_ms"}),
        lambda value: "[" * 100_000,
    ],
)
def test_a_damaged_file_is_reported_with_its_name(tmp_path, damage):
    path = save_state(tmp_path, learned())
    path.write_text(damage(json.loads(path.read_text())))
    with pytest.raises(InputError, match="damaged, or of another coil") as error:
        load_state(tmp_path, "E6614103E7452D2F")
    assert error.value.where == str(path)


def test_a_newer_file_asks_for_an_update(tmp_path):
    path = save_state(tmp_path, learned())
    path.write_text(path.read_text().replace('"schema": 1', '"schema": 2'))
    with pytest.raises(InputError, match="schema 2"):
        load_state(tmp_path, "E6614103E7452D2F")


def test_a_state_that_cannot_be_written_leaves_the_old_one(tmp_path):
    save_state(tmp_path, learned())
    with pytest.raises(ValueError, match="Out of range"):
        save_state(tmp_path, learned(state=(float("inf"),)))
    assert load_state(tmp_path, "E6614103E7452D2F")["state"] == list(STATE)
    assert len(os.listdir(tmp_path)) == 1


def test_several_sessions_that_end_at_once_leave_one_whole_file(tmp_path):
    states = [tuple([float(number)] * 2000) for number in range(8)]
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda state: save_state(tmp_path, learned(state=state)), states))
    assert tuple(load_state(tmp_path, "E6614103E7452D2F")["state"]) in states
    assert len(os.listdir(tmp_path)) == 1


# The XDG base directory specification 0.8; the other two platforms' habits are from memory.
@pytest.mark.parametrize(
    ("environ", "platform", "folder"),
    [
        ({"XDG_DATA_HOME": "/x", "HOME": "/h"}, "linux", "/x/coilcount/learned"),
        ({"XDG_DATA_HOME": "x", "HOME": "/h"}, "linux", "/h/.local/share/coilcount/learned"),
        ({"HOME": "/h"}, "darwin", "/h/Library/Application Support/coilcount/learned"),
        ({"LOCALAPPDATA": "/a"}, "win32", "/a/coilcount/learned"),
        ({"HOME": "/h", "COILCOUNT_LEARNED": "/c"}, "linux", "/c"),
        ({"HOME": "/h", "COILCOUNT_LEARNED": "off"}, "linux", None),
        ({}, "linux", None),
    ],
)
def test_the_folder(environ, platform, folder):
    found = state_folder(environ, platform)
    assert (found and found.as_posix()) == folder
