"""Calls commands of coilcount in this process, as a user would type them."""

from collections.abc import Callable

from coilcount.commands.cli import main


def caller(capsys) -> Callable[..., tuple[int, str, str]]:
    """A function that runs a command, given as its words, and returns exit code, standard output and standard error.

    capsys: the fixture of pytest.  No command may print a traceback.
    """

    def call(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return call
