"""argparse's messages in our own words, through the real commands."""

import pytest
from coilcount.commands.cli import main


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["plan", "--turns", "abc"], '--turns is "abc". Give a whole number'),
        (["plan", "--turns", "3.5"], '--turns is "3.5". Give a whole number'),
        (["plan", "--layout", "bundel"], '--layout is "bundel". Did you mean "bundle"?'),
        (["plan", "--depth"], "--depth needs a value. See coilcount plan --help"),
        (["plan", "--centre-tap=3"], "--centre-tap takes no value. See coilcount plan --help"),
        (["plan", "--width", "5cm"], "--width needs an oval or a rectangle"),
        (["plan", "--inner-diameter", "9cm", "--diameter", "10cm"], "both --diameter and --inner-diameter"),
        (["plan", "--wire", "0,4mm"], 'write a decimal point instead of the comma, "0.4mm"'),
        (["plan", "--pitch", "0,5mm"], "Write a decimal point instead of the comma: 0.5mm"),
        (["plan", "--measured-frequency", "24k"], "without a capacitor. Add --capacitor"),
        (["replay"], "FILE is missing. See coilcount replay --help"),
        (["completion", "tcsh"], 'shell is "tcsh". Known: bash, fish, zsh.'),
    ],
)
def test_a_wrong_word_is_one_line_of_ours(capsys, words, line):
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert line in err
    assert err.count("\n") == 1
    assert "argument" not in err and "invalid" not in err
