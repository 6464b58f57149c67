"""The cache: the same result again, never an old one, and never an error."""

import os
import resource
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
from coilcount.desk import replay_file
from coilcount.desk.cache import Cache, cache_folder
from coilcount.desk.many import replay_many
from coilcount.desk.recordings import Recording
from coilcount.desk.replays import replay_grid
from coilcount.settings import defaults, from_toml
from desk_recordings import eventful, imported, write_recording

GRID = (3.0, 6.0)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A recording, and its replay with the readings."""
    recording = write_recording(tmp_path_factory.mktemp("made") / "a.ccap", eventful(1)[:1500])
    return recording, replay_grid(recording, defaults(), GRID, series=True)


@pytest.fixture
def cache(tmp_path):
    return Cache(tmp_path / "cache")


def keep(cache, recording, replay):
    key = cache.key(recording, defaults(), GRID)
    assert cache.store(key, replay)
    return key


@pytest.mark.parametrize("feed", [eventful(4), imported(2), imported(2)[:3], eventful(0)[:1]])
def test_every_value_comes_back_exactly(feed, tmp_path):
    recording = write_recording(tmp_path / "a.ccap", feed)
    replay = replay_grid(recording, defaults(), GRID, series=True)
    data = replay_file.encode(replay)
    assert replay_file.decode(data, series=True) == replay
    assert replay_file.decode(data) == replace(replay, series=None, scale=())
    assert replay_file.decode(replay_file.encode(replace(replay, series=None, scale=())), series=True) is None
    assert len(data) < 3000 + 25 * len(replay.series.time_s)


def test_the_second_look_does_not_replay(made, cache, monkeypatch):
    recording, replay = made
    first = replay_many([recording], defaults(), GRID, series=True, cache=cache)
    monkeypatch.setattr("coilcount.desk.many.replay_grid", None)
    assert replay_many([recording], defaults(), GRID, series=True, cache=cache) == first == [replay]
    assert replay_many([recording], defaults(), GRID, cache=cache) == [replace(replay, series=None, scale=())]


def test_a_result_without_readings_is_replaced_if_they_are_wanted(made, cache):
    recording, replay = made
    for series in (False, True, False):
        [found] = replay_many([recording], defaults(), GRID, series=series, cache=cache)
        assert (found.series is None) != series
    key = cache.key(recording, defaults(), GRID)
    assert cache.load(key, recording, defaults(), True) == replay
    assert cache.contents().files == 1


def test_the_key_depends_on_contents_settings_and_thresholds_but_on_no_name(made, cache, tmp_path):
    recording, replay = made
    key = keep(cache, recording, replay)
    other_name = Recording((Path(shutil.copy(recording.parts[0], tmp_path / "b.ccap")),))
    bright = from_toml("schema = 1\n[live]\nbright = true\n", "a")
    assert cache.key(other_name, bright, GRID[::-1]).digest == key.digest
    found = cache.load(cache.key(other_name, bright, GRID), other_name, bright)
    assert (found.name, found.parts) == (other_name.name, (other_name.name,))
    assert found.summary == replace(replay.summary, settings_sha256=bright.sha256())
    hold = replace(defaults(), tracker=MappingProxyType({**defaults().tracker, "hold": False}))
    others = [
        cache.key(recording, hold, GRID),
        cache.key(recording, defaults().with_threshold(5.0), GRID),
        cache.key(recording, defaults(), (*GRID, 7.0)),
        cache.key(Recording((*recording.parts, *other_name.parts)), defaults(), GRID),
    ]
    with open(other_name.parts[0], "ab") as file:
        file.write(b"\n")
    others.append(cache.key(other_name, defaults(), GRID))
    assert len({key.digest, *(other.digest for other in others)}) == 6
    assert all(cache.load(other, recording, defaults()) is None for other in others)
    assert cache.key(Recording((tmp_path / "missing",)), defaults(), GRID) is None


def test_a_recording_that_grows_meanwhile_is_not_stored(made, cache, tmp_path):
    _, replay = made
    path = Path(shutil.copy(replay.name, tmp_path / "a.ccap"))
    recording = Recording((path,))
    key = cache.key(recording, defaults(), GRID)
    with open(path, "ab") as file:
        file.write(b'{"t":99,"l":"text"}\n')
    assert not cache.store(key, replace(replay, name=str(path), parts=(str(path),)))
    assert cache.contents().files == 0


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "text", "schema", "series"])
def test_a_damaged_file_is_ignored_and_replaced(damage, made, cache):
    recording, replay = made
    key = keep(cache, recording, replay)
    [path] = cache.folder.iterdir()
    data = path.read_bytes()
    middle = len(data) // 3
    path.write_bytes(
        {
            "cut": data[:middle],
            "flipped": data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :],
            "empty": b"",
            "text": b"[1]\n" + data,
            "schema": data.replace(b'"schema": 3', b'"schema": 4', 1),
            "series": data[:-3],
        }[damage]
    )
    assert cache.load(key, recording, defaults(), True) is None
    assert cache.contents().files == 0
    assert replay_many([recording], defaults(), GRID, series=True, cache=cache) == [replay]
    assert path.read_bytes() == data


def test_the_results_that_were_not_used_for_longest_go_first(made, cache):
    recording, replay = made
    size = len(replay_file.encode(replay))
    small = Cache(cache.folder, 3.5 * size / 1e6)
    names = ["a" * 64, "b" * 64, "c" * 64, "d" * 64]
    state = small.key(recording, defaults(), GRID).states
    keys = [type(small.key(recording, defaults(), GRID))(name, state) for name in names]
    for age, key in zip((300, 200, 100), keys, strict=False):
        assert small.store(key, replay)
        os.utime(cache.folder / f"{key.digest}.replay", (1e9 - age, 1e9 - age))
    assert small.load(keys[0], recording, defaults()) is not None  # used now
    assert small.store(keys[3], replay)
    assert sorted(path.name[0] for path in cache.folder.iterdir()) == ["a", "c", "d"]
    assert not Cache(cache.folder, 0.5 * size / 1e6).store(keys[1], replay)


def test_leftovers_of_killed_processes_go(made, cache):
    cache.folder.mkdir()
    for name, used_s in (("x.unfinished", 1e9), ("y.unfinished", None), ("other", 1e9)):
        (cache.folder / name).write_bytes(b"x")
        if used_s:
            os.utime(cache.folder / name, (used_s, used_s))
    keep(cache, *made)
    assert sorted(path.suffix for path in cache.folder.iterdir()) == ["", ".replay", ".unfinished"]
    assert cache.clear() == 1
    assert [path.name for path in cache.folder.iterdir()] == ["other"]
    assert (cache.contents().files, cache.contents().oldest_s) == (0, None)


def test_a_place_that_cannot_be_written_does_not_stop_the_work(made, tmp_path):
    recording, replay = made
    (tmp_path / "file").write_bytes(b"")
    for folder in (tmp_path / "file", tmp_path / "file" / "under"):
        cache = Cache(folder)
        assert replay_many([recording], defaults(), GRID, series=True, cache=cache) == [replay]
        assert (cache.contents().files, cache.clear()) == (0, 0)


def test_a_full_disk_does_not_stop_the_work_and_leaves_nothing(made, cache):
    """The limit for the size of files stands in for a disk that is full."""
    recording, replay = made
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, before[1]))
    try:
        results = replay_many([recording], defaults(), GRID, series=True, cache=cache, processes=1)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert results == [replay]
    assert list(cache.folder.iterdir()) == []


# Stores, loads and clears again and again; every result that is found must be the right one.
AT_ONCE = """
import sys
from pathlib import Path
from coilcount.desk.cache import Cache
from coilcount.desk.recordings import Recording
from coilcount.desk.replays import replay_grid
from coilcount.settings import defaults

recording = Recording((Path(sys.argv[1]),))
cache = Cache(Path(sys.argv[2]), 0.1)
replay = replay_grid(recording, defaults(), [3.0], series=True)
found = 0
for turn in range(300):
    key = cache.key(recording, defaults(), [3.0 + turn % 4])
    cache.store(key, replay)
    got = cache.load(key, recording, defaults(), True)
    assert got is None or got == replay
    found += got is not None
    if turn % 50 == 49:
        cache.clear()
assert found > 100
"""


def test_two_processes_at_once(tmp_path):
    recording = write_recording(tmp_path / "a.ccap", eventful(1)[:800])
    command = [sys.executable, "-c", AT_ONCE, recording.name, str(tmp_path / "cache")]
    processes = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    assert [process.communicate()[1] for process in processes] == ["", ""]


@pytest.mark.parametrize(
    ("environ", "platform", "folder"),
    [
        ({"HOME": "/home/a"}, "linux", "/home/a/.cache/coilcount"),
        ({"HOME": "/home/a", "XDG_CACHE_HOME": "/b"}, "linux", "/b/coilcount"),
        ({"HOME": "/home/a", "XDG_CACHE_HOME": "b"}, "linux", "/home/a/.cache/coilcount"),
        ({"HOME": "/Users/a"}, "darwin", "/Users/a/Library/Caches/coilcount"),
        ({"LOCALAPPDATA": "/a"}, "win32", "/a/coilcount/Cache"),
        ({"HOME": "/home/a", "COILCOUNT_CACHE": "/c"}, "linux", "/c"),
        ({"HOME": "/home/a", "COILCOUNT_CACHE": "off"}, "linux", None),
        ({}, "linux", None),
        ({}, "win32", None),
    ],
)
def test_the_place(environ, platform, folder):
    assert cache_folder(environ, platform) == (None if folder is None else Path(folder))
