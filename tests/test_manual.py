"""host/MANUAL.md against the program: no command, option, setting, scene key, JSON key or link may be missing."""

import dataclasses
import re
from pathlib import Path

import pytest
from coilcount.capture import csv_log, labels
from coilcount.commands.cli import main
from coilcount.commands.command_parser import COMMANDS
from coilcount.face.json_out import CONTRACT
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.schema.body import METALS
from coilcount.settings import SECTIONS
from coilcount.simulate.load import built_in_scenes
from coilcount.simulate.scene import SHAPES, Scene

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "host" / "MANUAL.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    """The text under a heading, up to the next one of the same or a higher level."""
    head = re.search(rf"^(#+) {re.escape(title)}$", TEXT, re.M)
    assert head, f"the manual has no heading {title}"
    after = TEXT[head.end() :]
    return re.split(rf"^#{{1,{len(head[1])}}} ", after, maxsplit=1, flags=re.M)[0]


def in_backticks(text: str) -> set[str]:
    """The words in backticks; of `--port PORT` the word --port."""
    return {word.split()[0].strip("[]").split("=")[0] for word in re.findall(r"`([^`\n]+)`", text)}


def options_of(command: str, capsys) -> set[str]:
    with pytest.raises(SystemExit):
        main([command, "--help"])
    return set(re.findall(r"^ +(--[a-z][\w-]*)", capsys.readouterr().out, re.M))


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_has_a_section_with_all_of_its_options(command, capsys):
    told = in_backticks(section(command))
    shared = in_backticks(section("live")) if command == "record" else set()
    assert options_of(command, capsys) <= told | shared


def test_each_reading_of_a_build_stands_with_its_key():
    from coilcount.schema.build_check import OSCILLATORS, Answers

    assert {field.name for field in dataclasses.fields(Answers)} | set(OSCILLATORS) <= in_backticks(section("check"))


def test_each_setting_stands_with_its_default_and_its_unit():
    lines = [[cell.strip() for cell in line.split("|")[1:-1]] for line in section("Settings reference").splitlines()]
    rows = {cells[1].strip("`"): cells for cells in lines if len(cells) == 6}
    for table in SECTIONS.values():
        for setting in table:
            _, _, default, _, unit, meaning = rows[setting.name]
            assert meaning and unit == setting.unit.replace("rtHz", "√Hz")
            if isinstance(setting.default, bool):
                assert default == str(setting.default).lower()
            elif isinstance(setting.default, tuple):
                assert default == (", ".join(map(str, setting.default)) or "none")
            else:
                assert float(default) == setting.default


def test_each_key_of_a_scene_stands_with_its_table():
    text = section("Scenes")
    told = in_backticks(text)
    fields = {field.name: field for field in dataclasses.fields(Scene)}
    for name, field in fields.items():
        if isinstance(field.default, tuple):  # tables: their record is not in the type's text
            assert f"[[{name}]]" in text
        elif dataclasses.is_dataclass(field.type):
            assert f"[{name}]" in text
            assert {one.name for one in dataclasses.fields(field.type)} <= told, name
        else:
            assert name in told
    from coilcount.simulate import scene

    for record in (scene.Target, scene.Knock, scene.Glitch, scene.Lost, scene.Span, scene.Mark):
        assert {one.name for one in dataclasses.fields(record)} <= told, record
    assert set(built_in_scenes()) | set(SHAPES) | set(METALS) | set(NOISE_CLASSES) <= told


def test_the_example_of_a_scene_can_be_read():
    import tomllib

    from coilcount.schema.tables import read_table

    example = re.search(r"```toml\n(.*?)```", section("Scenes"), re.S)[1]
    assert len(read_table(Scene, tomllib.loads(example), "the manual").target[0].at_s) == 2


def test_each_key_of_the_json_contract_and_each_column_is_there(tmp_path):
    capture, series = ROOT / "captures" / "quiet-bench.ccap.gz", tmp_path / "series.csv"
    assert main(["replay", str(capture), "--series", str(series), "--quiet"]) == 0
    told = in_backticks(section("Output for programs"))
    assert told >= {key for _, keys in CONTRACT.values() for key in keys.split()} | {"file"}
    assert told >= set(series.read_text().splitlines()[0].split(",")) | set(csv_log.COLUMNS)
    assert ",".join(labels.COLUMNS) in section("Labels")


def test_the_ends_of_a_recording_are_those_of_the_protocol():
    page = (ROOT / "protocol" / "PROTOCOL.md").read_text(encoding="utf-8")
    table = page.split("| end | meaning |")[1].split("\n\n")[0]
    ends = set(re.findall(r"`([\w ]+)`", table))
    assert len(ends) > 5 and ends == set(re.findall(r"^\| `([\w ]+)` \|", section("Recordings"), re.M))


@pytest.mark.parametrize("page", ["host/MANUAL.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        name, _, anchor = target.partition("#")
        path = (ROOT / page).parent / name if name else ROOT / page
        assert path.exists(), target
        if anchor:
            heads = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.M)
            assert anchor in {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}, target
