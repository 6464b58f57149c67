"""A value that is changed in a netlist fails a check of the simulation, and not only the comparison with the bill."""

import circuit_checks as checks
import pytest
from circuits import parts
from replaced_parts import with_line
from spice import needs_ngspice

# circuit, the line as it stands, the line as it is changed, the check that has to fail
CHANGES = [
    ("head", "capacitance=180n", "capacitance=150n", checks.pair_frequency),
    ("oscillator-pair", "couple_a 100n", "couple_a 10n", checks.pair_frequency),
    ("oscillator-pair", "tail_emitter gnd 91", "tail_emitter gnd 120", checks.pair_amplitude),
    ("oscillator-pair", "reference bias 820", "reference bias 1k", checks.pair_amplitude),
    ("oscillator-pair", "couple_b base_b 2.2k", "couple_b base_b 220k", checks.pair_starts),
    ("oscillator-mosfet", "vcc feed 1m", "vcc feed 10u", checks.mosfet_amplitude),
    ("oscillator-mosfet-limited", "source_emitter 51", "source_emitter 68", checks.limited_amplitude),
    ("input-schmitt", "node mid 470k", "node mid 10k", checks.pin_of_schmitt),
    ("input-schmitt", "node gate 47k", "node gate 1k", checks.unpowered_schmitt),
    ("input-schmitt", "mid gnd 20k", "mid gnd 10k", checks.middle_of_the_supply),
    ("input-comparator", "out node 2.2Meg", "out node 220k", checks.pin_of_comparator),
    ("input-comparator", "node plus 22k", "node plus 100", checks.unpowered_comparator),
    ("supply", "five oscillator 100", "five oscillator 10", checks.supply_voltages),
    ("supply", "oscillator battery_minus 100u", "oscillator battery_minus 1u", checks.supply_filter),
]


@needs_ngspice
@pytest.mark.parametrize(("circuit", "old", "new", "check"), CHANGES, ids=[f"{c[0]}: {c[2]}" for c in CHANGES])
def test_a_changed_value_fails_its_check(tmp_path, circuit, old, new, check):
    with_line(tmp_path, circuit, old, new)
    with pytest.raises(AssertionError):
        check(tmp_path)


def test_a_changed_value_differs_from_the_bill(tmp_path):
    bill = {(row["circuit"], row["reference"]): row["value"] for row in parts.read_bill()}
    with_line(tmp_path, "oscillator-pair", "tail_emitter gnd 91", "tail_emitter gnd 92")
    found = parts.all_parts(tmp_path)
    assert [key for key, part in found.items() if bill[key] != part.value] == [("oscillator-pair", "R6")]
