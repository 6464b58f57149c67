"""WIRING.md names the values of the netlists, and its figures are those of the simulation."""

import re

import circuit_checks
from circuits import LIMITED, MOSFET, PAIR, oscillate, parts
from pytest import approx
from spice import HARDWARE, needs_ngspice

PAGE = (HARDWARE.parent / "WIRING.md").read_text(encoding="utf-8")


def values(text: str) -> set[str]:
    """Return the resistances and capacitances in `text`, in the spelling of the bill of materials."""
    text = text.replace("µ", "u")
    return set(re.findall(r"\b\d[\d.]*[kM]\b|\b\d[\d.]* [nu]F\b|\b\d+(?= Ω)", text))


def test_the_page_names_every_value_of_the_input_stages_and_of_the_oscillators_leg():
    wanted = {
        part.value
        for (circuit, reference), part in parts.all_parts().items()
        if part.number is not None and (circuit.startswith("input-") or reference in ("R81", "C83"))
    }
    assert len(wanted) > 10
    assert wanted <= values(PAGE)


def test_the_page_names_no_other_value_in_its_tables_of_parts():
    tables = re.findall(r"^\| part \| value \|\n(?:\|.*\n)+", PAGE, re.MULTILINE)
    assert len(tables) == 2
    for table, circuit in zip(tables, ("input-schmitt", "input-comparator"), strict=True):
        assert values(table) <= {part.value for part in parts.read_netlist(circuit).values()}


def test_the_pin_is_the_one_that_the_firmware_reads():
    coil = re.search(r"^COIL = (\d+)", (HARDWARE.parent / "pins.py").read_text(encoding="utf-8"), re.MULTILINE)[1]
    assert f"to GP{coil}" in PAGE


def test_the_page_says_that_nothing_was_built_and_that_figures_are_simulated():
    assert "Nothing here was built" in PAGE and "circuit simulation with ngspice" in PAGE
    for path in re.findall(r"\(hardware/([\w.-]+)\)", PAGE):
        assert (HARDWARE / path).exists(), path


@needs_ngspice
def test_volts_and_currents_of_the_oscillators_are_those_of_the_simulation():
    for kind in (PAIR, LIMITED, MOSFET):
        row = re.search(rf"^\|[^|]*\| \[{kind.replace('_', '-')}\][^|]*\|(.*)\|$", PAGE, re.MULTILINE)[1]
        peak, end, supply = (float(re.match(r" ([\d.]+)", cell)[1]) for cell in row.split("|"))
        found = oscillate(kind, **(circuit_checks.SETTLED if kind == PAIR else {}))
        assert found.peak_v == approx(peak, rel=0.02)
        assert found.end_v == approx(end, rel=0.02)
        assert found.supply_a * 1e3 == approx(supply, rel=0.02)
