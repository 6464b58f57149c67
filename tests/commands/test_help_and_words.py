"""The words of the command line: help, examples, misspelt words, the order of words, completion, scenes."""

import re
import shlex
import subprocess
import sys

import pytest
from coilcount.commands.cli import main
from coilcount.commands.command_parser import COMMANDS, make_grammar, parse
from coilcount.commands.completion import SHELLS
from coilcount.errors import InputError
from coilcount.simulate.load import built_in_scenes

MEANT = 'Did you mean "--threshold"?'


@pytest.fixture(scope="module")
def grammar():
    return make_grammar(COMMANDS)


def help_text(capsys, *words):
    with pytest.raises(SystemExit) as left:
        main(list(words))
    assert left.value.code == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_help_command_is_command_help_and_its_examples_parse(command, grammar, capsys):
    text = help_text(capsys, command, "--help")
    assert main(["help", command]) == 0
    assert capsys.readouterr().out == text
    examples = grammar.modules[command].EXAMPLES
    assert 2 <= len(examples) <= 4
    for line, meaning in examples:
        assert f"  {line}\n      {meaning}\n" in text
        program, name, *words = shlex.split(line)
        assert program == "coilcount"
        parse(grammar.commands[name], words)  # raises for a word that does not fit


def test_every_argument_has_a_help_text(grammar):
    for name, parser in grammar.commands.items():
        assert all(action.help for action in parser._actions), name


def test_help_alone_is_the_list_of_commands(capsys):
    text = help_text(capsys, "--help")
    assert all(f"\n    {command}" in text for command in COMMANDS)
    for words in ([], ["help"]):
        assert main(words) == 0
        assert capsys.readouterr().out == text
    assert re.fullmatch(r"coilcount \d+\.\d+\S*\n", help_text(capsys, "--version"))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("replay --treshold 6 a.ccap", f"no option --treshold. {MEANT} See coilcount replay --help"),
        ("replay --treshold", f"no option --treshold. {MEANT} See coilcount replay --help"),
        ("noise a.ccap --false-alarm-per-minut=2", 'Did you mean "--false-alarms-per-minute"? See coilcount noise'),
        ("live --zzz", "there is no option --zzz. See coilcount live --help"),
        ("replay a.ccap -x", "there is no option -x. See coilcount replay --help"),
        ("--verison", 'there is no option --verison. Did you mean "--version"? See coilcount --help'),
        ("recrod", 'there is no command "recrod". Did you mean "record"? See coilcount --help'),
        ("help recrod", 'there is no command "recrod". Did you mean "record"? See coilcount --help'),
        ("record a.ccap b.ccap", '"b.ccap" is one word too many. See coilcount record --help'),
        ("export a.ccap", "OUT.csv is missing. See coilcount export --help"),
        ("replay a.ccap --series - --json", "--json and --series - both write to standard output"),
    ],
)  # fmt: skip
def test_misspelt_words_are_one_line_with_a_suggestion(words, message, capsys):
    assert main(words.split()) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert message in err


def test_a_value_with_dashes_and_a_word_after_two_dashes_are_no_options(grammar):
    args = parse(grammar.commands["record"], ["--note", "--wet clay", "--", "--odd.ccap"])
    assert (args.note, args.file) == (["--wet clay"], "--odd.ccap")


def test_options_may_stand_before_between_and_after_the_files(grammar):
    for words in ("fetch --port P out.toml", "fetch out.toml --port P", "--port P fetch out.toml"):
        args = parse(grammar.commands["settings"], words.split())
        assert (args.action, args.port, args.file) == ("fetch", "P", "out.toml")
    args = parse(grammar.commands["replay"], ["a", "--json", "b", "--threshold", "6", "c"])
    assert (args.files, args.json, args.threshold) == (["a", "b", "c"], True, "6")
    assert parse(grammar.commands["check"], ["--drift-minutes", "--json"]).drift_minutes == 10
    with pytest.raises(InputError, match="are both given"):
        parse(grammar.commands["live"], ["--virtual", "--port", "P"])


def test_help_imports_no_command():
    """--help is quick because it loads only the parser's own module."""
    code = (
        "import sys; from coilcount.commands.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print([name for name in sys.modules if name.startswith('coilcount.commands.')], file=sys.stderr)\n"
        "print([name for name in ('numpy', 'rich', 'serial', 'shtab') if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.splitlines() == ["['coilcount.commands.command_parser', 'coilcount.commands.cli']", "[]"]


def test_scenes_are_listed_with_titles(capsys):
    assert main(["scenes"]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert "orchard-path    60 s, An orchard path" in text and "All are simulated" in text
    assert main(["scenes", "--json"]) == 0
    assert capsys.readouterr().out.count('"kind": "scene"') == len(built_in_scenes())


@pytest.mark.parametrize("shell", SHELLS)
def test_the_completion_script_knows_commands_options_and_scenes(shell, capsys):
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    for word in (*COMMANDS, "false-alarms-per-minute", "threshold", *built_in_scenes()):
        assert word in script


def test_bash_completes_with_the_script(tmp_path, capsys):
    """Real bash reads the script and completes as at a prompt."""
    main(["completion", "bash"])
    (tmp_path / "coilcount.bash").write_text(capsys.readouterr().out)
    (tmp_path / "field.ccap").write_text("")

    def completed(*words):
        ask = (
            'source coilcount.bash; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMP_LINE="$*"; '
            'COMP_POINT=${#COMP_LINE}; _shtab_coilcount coilcount "${!#}"; printf \'%s\\n\' "${COMPREPLY[@]}"'
        )
        done = subprocess.run(
            ["bash", "--norc", "-c", ask, "bash", *words], cwd=tmp_path, capture_output=True, text=True, timeout=30
        )
        return done.stdout.split()

    assert completed("coilcount", "repl") == ["replay"]
    assert completed("coilcount", "replay", "--thr") == ["--threshold"]
    assert completed("coilcount", "live", "--scene", "orch") == ["orchard-path"]
    assert completed("coilcount", "settings", "f") == ["fetch"]
    assert "field.ccap" in completed("coilcount", "replay", "fi")
