"""The netlists, the bill of materials and the reader that the drawings use agree.  It needs no simulator."""

import os
import re
import shutil
import subprocess
import sys

import pytest
from circuits import parts
from spice import HARDWARE


def test_each_part_of_each_netlist_is_in_the_bill_with_the_same_value():
    listed = {(row["circuit"], row["reference"]): row["value"] for row in parts.read_bill()}
    assert len(listed) == len(parts.read_bill()), "a part is listed twice"
    drawn = {key: part.value for key, part in parts.all_parts().items()}
    assert len(drawn) > 70
    assert {key: value for key, value in listed.items() if key[0] != "instrument"} == drawn


def test_each_part_has_a_rating_a_purpose_a_replacement_and_a_cost():
    for row in parts.read_bill():
        assert all(row[name].strip() for name in parts.COLUMNS), row
        assert 0 < float(row["cost_eur"]) < 10, row


def test_a_reference_means_one_part_in_all_circuits():
    """Only the two MOSFET oscillators share references, and then the parts are of the same value."""
    values = {}
    for (circuit, reference), part in parts.all_parts().items():
        values.setdefault(reference, {})[circuit] = part.value
    for reference, found in values.items():
        assert len(set(found.values())) == 1, reference
        assert len(found) == 1 or set(found) == {"oscillator-mosfet", "oscillator-mosfet-limited"}, reference


def test_every_device_of_a_netlist_has_a_model():
    models = (HARDWARE / "models.lib").read_text(encoding="utf-8")
    assert set(parts.DEVICES) <= set(re.findall(r"^\.(?:model|subckt) (\w+)", models, re.MULTILINE))


@pytest.mark.parametrize(
    ("text", "unit", "written"),
    [
        ("2.2Meg", "ohm", "2.2M"),
        ("4.7k", "ohm", "4.7k"),
        ("330", "ohm", "330"),
        ("0.5", "ohm", "0.5"),
        ("4.7n", "F", "4.7 nF"),
        ("0.1u", "F", "100 nF"),
        ("1000u", "F", "1000 uF"),
        ("10p", "F", "10 pF"),
        ("1m", "H", "1 mH"),
    ],
)
def test_a_value_is_written_as_people_write_it(text, unit, written):
    assert parts.written(parts.spice_number(text), unit) == written


def test_a_line_that_is_no_part_is_refused(tmp_path):
    shutil.copy(HARDWARE / "supply.cir", tmp_path)
    path = tmp_path / "supply.cir"
    path.write_text(path.read_text(encoding="utf-8").replace("R81 five oscillator 100", "R81 five 100"), "utf-8")
    with pytest.raises(ValueError, match=r"supply\.cir: not a part: R81"):
        parts.read_netlist("supply", tmp_path)


def test_the_script_prints_rating_and_purpose_of_each_part():
    script = [sys.executable, str(HARDWARE / "parts.py")]
    done = subprocess.run([*script, "supply"], capture_output=True, text=True, check=True)
    assert "F81" in done.stdout and "reversed battery" in done.stdout and "Rating:" in done.stdout
    wrong = subprocess.run([*script, "suply"], capture_output=True, text=True, check=False)
    assert wrong.returncode == 2 and wrong.stderr.startswith("no circuit suply; there are ")


@pytest.mark.parametrize("script", ["parts.py", "stripboard.py"])
def test_a_reader_that_goes_away_is_no_error(tmp_path, script):
    """As with `| head -1`: here the reader has gone before the first line, which is the same every time."""
    reading, writing = os.pipe()
    os.close(reading)
    arguments = [str(tmp_path)] if script == "stripboard.py" else []
    done = subprocess.run(
        [sys.executable, str(HARDWARE / script), *arguments], stdout=writing, stderr=subprocess.PIPE, text=True
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")
    assert bool(arguments) == (tmp_path / "board.svg").exists()
