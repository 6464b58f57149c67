"""Text from files, boards and people: no control character in it reaches a terminal or a JSON line."""

import ast
import contextlib
import gzip
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from coilcount.face.json_out import as_json
from coilcount.face.screen import draw
from coilcount.live.readout import Readout
from coilcount.model import Alert, Point
from coilcount.text import printable
from coilwire import frame, records
from hypothesis import given
from hypothesis import strategies as st
from ptyboard import HELLO, PtyBoard, interval

HOST = Path(__file__).parents[2] / "host/coilcount"
CAPTURES = Path(__file__).parents[2] / "captures"
# C0 but for the line feed that ends a line, DEL, C1, what turns the order of letters, line and paragraph separator.
FORBIDDEN = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
EVIL = "é\x1b]52;c;QUFB\x07\x1b[7777m\x9b7777m\u202ekcab\u2066\u200f\nforged line\r\t\u2028\x7f[bold]:smile:$x^{2}$"
NAME = b"n\x1b[7777m\nforged line\xc2\x9b7777m\xe2\x80\xae\xff$x^{2}$"  # as a file is called: not UTF-8 either


def quoted(text: str) -> str:
    """A string in TOML."""
    return json.dumps(text).replace("\x7f", "\\u007f")


@pytest.fixture(scope="module")
def evil(tmp_path_factory) -> Path:
    """A folder with an evil name and files in it whose every text is evil."""
    folder = Path(os.fsdecode(os.path.join(os.fsencode(tmp_path_factory.mktemp("evil")), NAME)))
    folder.mkdir()
    lines = gzip.decompress((CAPTURES / "warm-up-unplug.ccap.gz").read_bytes()).decode("ascii").splitlines()
    head = json.loads(lines[0])
    head |= {
        "notes": {EVIL: EVIL + "\udc9b"},
        "start_utc": EVIL,
        "source": EVIL,
        "host_version": EVIL,
        "command": [EVIL],
    }
    head |= {"settings": {"tracker": {"threshold": EVIL, "widths_s": [EVIL]}}, "build": {"file": EVIL}}
    rows = [{"name": EVIL, "verdict": "failed", "fault": EVIL}]
    head["build_check"] = {"file": EVIL, "check": {"checked_utc": EVIL, "check": rows}}
    head["board"] = {"board": EVIL, "uid": EVIL, "firmware": EVIL}
    log = records.write(records.Log(1, EVIL[:24]))[:-1].decode()
    hello = records.write(HELLO._replace(board=EVIL[:12], uid=EVIL[12:20], firmware="\x1b]7"))[:-1].decode()
    more = [
        *({"t": 0.001, "l": line} for line in (hello, log)),
        {"t": 0.001, "x": EVIL.replace("\n", "").encode().hex()},
        *({"t": 0.001, "op": op, "text": EVIL + "\udc9b"} for op in ("mark", EVIL)),
        {"t": 0.002, "gap": EVIL + "\udc9b", "from": 0.001},
    ]
    body = [json.dumps(head), *map(json.dumps, more), *lines[1:400], lines[-1]]
    (folder / "whole.ccap").write_text("\n".join(body) + "\n")
    (folder / "torn.ccap").write_text("\n".join([*body[:-1], '{"t":1e999}', json.dumps({"end": EVIL})]) + '\n{"t": 9')
    (folder / "none.ccap").write_text(EVIL)
    (folder / "log.csv").write_text(
        f'time_s,frequency_hz,"{EVIL}"\n' + "".join(f"{0.02 * k:.2f},{25_000 + k % 3},1\n" for k in range(100))
    )
    (folder / "bad.csv").write_text(f'time_s,frequency_hz\n"{EVIL}",25000\n')
    target = f"[[target]]\nobject = {quoted(EVIL)}\n"
    coin = target + 'shape = "disc"\nmetal = "copper"\ndiameter_mm = 24\nthickness_mm = 2\n'
    scene = f"schema = 1\ntitle = {quoted(EVIL)}\nduration_s = 2\nseed = 3\n{coin}depth_cm = 5\nat_s = 1.0\n"
    files = {
        "key.toml": f"schema = 1\n[tracker]\n{quoted(EVIL)} = 1\n",
        "section.toml": f"schema = 1\n[{quoted(EVIL)}]\n",
        "value.toml": f"schema = 1\n[tracker]\nthreshold = {quoted(EVIL)}\n",
        "good.toml": "schema = 1\n[tracker]\nthreshold = 6.0\n",
        "broken.toml": f"schema = 1\n{EVIL}\n",
        "scene.toml": scene,
        "scene-key.toml": scene + f"{quoted(EVIL)} = 1\n",
        "plan.toml": "schema = 1\n" + coin,
        "plan-key.toml": f"schema = 1\n{quoted(EVIL)} = 1\n",
    }
    for name, text in files.items():
        (folder / name).write_text(text)
    return folder


def commands(at: Path) -> list[list[str]]:
    """Every command, with each sort of evil text, whether it does its work or says why not."""
    whole, torn = str(at / "whole.ccap"), str(at / "torn.ccap")
    found = [
        *([command, file, *json_] for command in ("replay", "inspect", "noise") for file in (whole, torn)
          for json_ in ([], ["--json"])),
        *(["replay", whole, "--speed", "10000", "--series", str(at / f"{n}.csv")] for n in (1, 1)),
        *(["replay", str(at / name)] for name in ("none.ccap", "missing")),
        ["inspect", torn, "--salvage", str(at / "saved.ccap")],
        ["export", torn, str(at / "out.csv")], ["export", whole, whole],
        ["import", str(at / "log.csv"), str(at / "made.ccap"), "--note", EVIL.replace("\x00", "")],
        ["import", str(at / "bad.csv"), str(at / "not.ccap")],
        ["import", str(at / "log.csv"), str(at / "not.ccap"), "--start-utc", EVIL],
        *(["settings", "show", "--settings", str(at / f"{name}.toml"), *form]
          for name in ("good", "key", "section", "value", "broken", "missing") for form in ([], ["--json"])),
        ["settings", "show", "--settings", str(at / "good.toml"), "--toml"], ["settings", "fetch", "--port", EVIL],
        ["simulate", str(at / "scene.toml"), str(at / "s1.ccap")],
        ["simulate", str(at / "scene.toml"), str(at / "s2.ccap"), "--json"],
        ["simulate", str(at / "scene-key.toml"), str(at / "s3.ccap")], ["simulate", EVIL, str(at / "s4.ccap")],
        *(["plan", "--plan", str(at / f"{name}.toml"), *form] for name, *form in
          (("plan", "--picture", str(at / "drawn")), ("plan", "--json"), ("plan-key",))),
        ["plan", "--target", EVIL], ["plan", "--wire", EVIL], ["plan", "--depth", EVIL], ["plan", "--drawer", EVIL],
        ["noise", str(at / "s1.ccap"), "--save-settings", str(at / "n.toml")],
        ["report", whole, torn, "--out", str(at / "page.html")], ["report", EVIL, "--out", EVIL.replace("/", "")],
        ["report", whole, "--out", str(at / "page.json.html"), "--json"], ["report", whole],
        *([command, "--port", EVIL] for command in ("live", "check", "install")),
        *([command, "--port", str(at / "good.toml")] for command in ("live", "check", "install")),
        ["record", whole, "--virtual"], ["record", str(at / "r"), "--port", EVIL, "--build", str(at / "broken.toml")],
        ["live", "--virtual", "--scene", str(at / "scene-key.toml")], ["live", "--virtual", "--scene", EVIL],
        ["live", "--settings", str(at / "key.toml")], ["virtual", "--scene", EVIL], ["virtual", "--pace", EVIL],
        ["virtual", "--tcp", "1" * 30, "--scene", str(at / "scene-key.toml")], ["ports"], ["ports", "--json"],
        *(["completion", shell] for shell in ("bash", "zsh", "fish", EVIL)),
        *(["help", word] for word in ("replay", EVIL)), ["scenes"], ["scenes", "--json"], ["scenes", EVIL],
        ["replay", whole, "--" + EVIL.replace(" ", "")], ["export", whole, "-"], ["replay", whole, "--series", "-"],
        ["label", "add", whole, "--at", "1", "--object", EVIL.replace("\x00", ""), "--note", EVIL.replace("\x00", ""),
         "--response", "ferrous"], ["label", "list", whole], ["label", "list", whole, "--json"],
        *(["label", "add", whole, "--object", "a", option, EVIL] for option in ("--at", "--response", "--depth-cm")),
        ["label", "change", whole, EVIL], ["label", "import", whole, "--marks", "--response", "uncertain"],
        ["label", "import", whole, str(at / "bad.csv")], ["label", "propose", whole], ["label", EVIL, whole],
        ["captures", "list", str(at)], ["captures", "list", str(at), "--json"], ["captures", "list", EVIL],
        ["tune", whole], ["tune", whole, "--json"], ["tune", EVIL], ["tune", whole, "--vary", EVIL], ["cache", "show"],
        ["compare", whole, torn, "--threshold", "5", "7"], ["compare", whole, "--threshold", "5", "7", "--json"],
        ["compare", str(at), "--threshold", "5", EVIL], ["compare", whole, "--with", torn, EVIL],
        ["inspect", str(at)], ["inspect", str(at), "--json"],
        [EVIL], ["live", EVIL], ["replay", whole, "--threshold", EVIL], ["replay", whole, "--speed", EVIL],
    ]  # fmt: skip
    return found


# One process for all: each command in turn, as its entry point runs it.  Nothing else writes to its streams.
RUN_ALL = """
import json, sys
from coilcount.commands.cli import main
from coilcount.commands.command_parser import COMMANDS
from coilcount.plan import make
make.CATALOGUE = {"copper ball 50 mm": make.CATALOGUE["copper ball 50 mm"]}  # all of it would take half the time
given = json.load(sys.stdin)
codes = []
for words in given:
    sys.argv = ["coilcount", *words]
    try:
        codes.append(main(words))
    except SystemExit as error:
        codes.append(error.code)
assert set(COMMANDS) <= {words[0] for words in given}
open("codes.json", "w").write(json.dumps(codes))
"""


def test_no_command_prints_a_control_character(evil, tmp_path):
    given = commands(evil)
    done = subprocess.run(
        [sys.executable, "-c", RUN_ALL],
        input=json.dumps(given).encode(),
        cwd=tmp_path,
        capture_output=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    codes = json.loads((tmp_path / "codes.json").read_text())
    assert set(codes) == {0, 1, 2}
    for printed in (done.stdout, done.stderr):
        text = printed.decode()
        assert "7777m" in text  # the evil text is shown, tamed
        assert FORBIDDEN.findall(text) == []
        assert [line for line in text.split("\n") if line.lstrip().startswith("forged line")] == []
    # A program gets the exact text: JSON may escape its characters, but the value is the same.
    objects = [json.loads(line) for line in done.stdout.decode().split("\n") if line.startswith("{")]
    texts = [made["text"] for made in objects if made.get("kind") == "mark"]
    assert EVIL + "\udc9b" in texts
    assert {made["file"] for made in objects if made.get("kind") == "summary"} == {
        str(evil / "whole.ccap"),
        str(evil / "torn.ccap"),
    }


def evil_hello() -> records.Hello:
    return HELLO._replace(board="\x1b[7777m\x9b7777m\u202e[bold]"[:14], uid="\x1b]5\nz", firmware="\x9b1")


@pytest.mark.parametrize("form", [[], ["--json"], ["--quiet"]])
def test_an_evil_board_through_a_pipe(tmp_path, form):
    with PtyBoard(tmp_path / "port", evil_hello()) as board:
        process = subprocess.Popen(
            [sys.executable, "-m", "coilcount", "record", "r.ccap", "--port", str(board.path), "--for", "1.5",
             "--note", EVIL, *form],
            cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        while not (tmp_path / "r.ccap").exists() and process.poll() is None:
            time.sleep(0.01)
        board.send(evil_lines())
        out, err = process.communicate(timeout=30)
    assert process.returncode == 0, err
    assert FORBIDDEN.findall(out.decode()) == FORBIDDEN.findall(err.decode()) == []
    # With --json and --quiet only warnings are printed, and this board causes none.
    assert ("\\x1b[7777m" in out.decode()) == (form == [])


def evil_lines() -> bytes:
    """Log lines, text of another program and damaged lines, between sound records."""
    log = records.write(records.Log(1, "\x1b[7777m\x9b7777m\u202eabc[bold]\n"))
    junk = b"\x1b]52;c;QUFB\x07\x1b[7777m\xc2\x9b7777m\n@L,1,%zz*00000000\n" + frame.encode("QX", [b"%1B%9B"])
    return b"".join(interval(k) for k in range(10)) + log + junk + b"".join(interval(k) for k in range(10, 20))


def test_an_evil_board_on_the_live_screen(tmp_path):
    with PtyBoard(tmp_path / "port", evil_hello()) as board:
        terminal, slave = os.openpty()
        process = subprocess.Popen(
            [sys.executable, "-m", "coilcount", "live", "--port", str(board.path), "--note", EVIL,
             "--record", os.fsdecode(NAME)],
            cwd=tmp_path, stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env={**os.environ, "TERM": "xterm-256color", "COLUMNS": "100", "LINES": "24"},
        )  # fmt: skip
        os.close(slave)
        try:
            seen = b""
            while b"q quit" not in seen:
                seen += os.read(terminal, 65536)
            board.send(evil_lines())
            board.unplug()
            board.hello = HELLO._replace(uid="\x1b[7777m\u202e")  # another board: its number is printed
            board.plug()
            while b"another board" not in seen:
                seen += os.read(terminal, 65536)
            os.write(terminal, b"q")
            while process.poll() is None:
                with contextlib.suppress(OSError):
                    seen += os.read(terminal, 65536)
        finally:
            process.kill()  # harmless if it has ended
            process.wait()
            os.close(terminal)
    assert process.returncode == 0
    assert b"7777m" in seen and b"\x1b[7777m" not in seen and b"\x1b]" not in seen and b"\x07" not in seen
    # What is left once rich's own sequences and line ends are taken out.
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]|\r", "", seen.decode("utf-8", "replace"))
    assert FORBIDDEN.findall(text) == []


def test_the_screen_keeps_its_layout_whatever_its_texts_hold():
    wide = "\x1b[7777m\x9b\u202e漢字[/bold]" * 30
    readout = Readout()
    readout.take(Point(1.0, 25_000.0, 9.0, 0.2, 0.1, 25_000.0, 0, True, False, False))
    alert = Alert("settled", 1, 1.0, 1.0, None, 1.0, True, 1, "uncertain", (wide,), 9.0, 9.0, 0.2, 0.9, 0.2)
    for place in ("title", "file", "message", "warning", "problem"):
        readout.take(alert)
        setattr(readout.facts, place, wide)
        for size in ((80, 24), (40, 8)):
            lines = draw(readout, *size)
            assert len(lines) <= size[1] and all(line.cell_len <= size[0] for line in lines)
            assert FORBIDDEN.findall("".join(line.plain for line in lines)) == []
            assert lines[0].plain.rstrip().endswith("0:00")


@given(st.text(), st.one_of(st.none(), st.integers(1, 20)))
def test_printable_is_one_harmless_line_and_leaves_ordinary_text_alone(text, most):
    shown = printable(text, most)
    assert FORBIDDEN.findall(shown) == [] and "\n" not in shown
    assert most is None or len(shown) <= most
    assert most is not None or FORBIDDEN.search(text) or "\n" in text or shown == text


def test_printable_in_examples():
    assert printable("a\x1b[1m\x9b\n\t\u202e\udc9b") == r"a\x1b[1m\x9b\n\t\u202e\udc9b"
    assert printable("Ærø, 漢字, שלום, 5 µH ± 1 σ, \u200d") == "Ærø, 漢字, שלום, 5 µH ± 1 σ, \u200d"
    assert printable("a long text", 6) == "a lon…"


@given(st.dictionaries(st.text(), st.lists(st.text(), max_size=3), max_size=3))
def test_json_is_harmless_and_exact(value):
    line = as_json(value)
    assert FORBIDDEN.findall(line) == [] and "\n" not in line and line.isascii()
    assert json.loads(line) == value


def test_nothing_in_face_and_commands_prints_past_the_one_function():
    for path in sorted([*(HOST / "face").rglob("*.py"), *(HOST / "commands").rglob("*.py")]):
        calls = [node.func for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call)]
        names = {call.id for call in calls if isinstance(call, ast.Name)}
        if path.name != "say.py":
            assert "print" not in names, path.name
        dumped = {call.attr for call in calls if isinstance(call, ast.Attribute)} & {"dumps"}
        # These keep JSON for a file or show single values; their lines go through say.
        assert not dumped or path.name in ("json_out.py", "listening.py", "settings.py"), path.name
