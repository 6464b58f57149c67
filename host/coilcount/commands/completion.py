"""`coilcount completion SHELL`: the script that completes commands, options and file names in a shell.

shtab writes the script from the parsers, so that no list of words is kept by hand.  The script is static: the shell
starts no Python when Tab is pressed.
"""

import argparse

from coilcount.errors import EXIT_DONE
from coilcount.face.say import say

SHELLS = ("bash", "zsh", "fish")
# What the arguments that name files are called in the help.  Anything else is completed from choices, or not at all.
_FILES = {
    "FILE", "FILE.toml", "OUT", "OUT.csv", "FILE.wav", "OUT.toml", "LOG.csv", "MORE", "PAGE.html", "SETTINGS.toml",
    "PLAN.toml",
}  # fmt: skip
_FOLDERS = {"DIR"}
_SCENES = {"SCENE"}

EXAMPLES = (
    (
        "coilcount completion bash",
        "print it; with `> ~/.local/share/bash-completion/completions/coilcount` it is kept and used",
    ),
    ("coilcount completion zsh", "keep it as `_coilcount` in a folder of $fpath"),
    ("coilcount completion fish", "with `> ~/.config/fish/completions/coilcount.fish` it is kept and used"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=SHELLS, help="the shell that will read the script")


def run(args: argparse.Namespace) -> int:
    import shtab

    from coilcount.commands.command_parser import COMMANDS, make_grammar

    grammar = make_grammar(COMMANDS)
    for parser in grammar.commands.values():
        parser.epilog = None
        for action in parser._actions:
            _complete(action)
    script = shtab.complete(grammar.top, args.shell)
    say(*script.rstrip("\n").split("\n"))
    return EXIT_DONE


def _complete(action: argparse.Action) -> None:
    """Tell shtab what the words of one argument are."""
    import shtab

    from coilcount.simulate.load import built_in_scenes

    names = {action.metavar}
    if names & _FILES:
        action.complete = shtab.FILE
    elif names & _FOLDERS:
        action.complete = shtab.DIRECTORY
    elif names & _SCENES:
        action.choices = built_in_scenes()
    elif action.dest == "command":
        from coilcount.commands.command_parser import COMMANDS

        action.choices = list(COMMANDS)
