"""The drawings against the netlists: the same parts, values and connections, and the committed files are current."""

import re
import subprocess
import sys
from xml.etree import ElementTree

import pytest
from circuits import parts
from spice import HARDWARE

sys.path.insert(0, str(HARDWARE))
import draw

FOLDER = HARDWARE / "drawings"
# How the nodes of the netlists are joined in one drawing: (circuit, node): name of the net.  Other nodes are separate.
HEAD = {("head", "tap"): "vcc", ("head", "end_a"): "end_a", ("head", "end_b"): "end_b"}
JOINED = {
    "oscillator-pair": HEAD,
    "oscillator-mosfet": HEAD | {("head", "tap"): "tap"},
    "oscillator-mosfet-limited": HEAD | {("head", "tap"): "tap"},
    "instrument": HEAD | {("supply", "oscillator"): "vcc", ("input-schmitt", "coil"): "end_a"},
}
OWN_NAMES = ("vcc", "gnd", "vdd", "end_a", "end_b", "tap")


def texts(path):
    """Return every line of text in an SVG, sorted."""
    root = ElementTree.parse(path).getroot()
    found = [" ".join(element.itertext()).strip() for element in root.iter("{http://www.w3.org/2000/svg}text")]
    return sorted(" ".join(text.split()) for text in found if text)


def expected_nets(name):
    """The terminals that the netlists join, as frozen sets; those of the instrument's own parts are left out."""
    nets = {}
    for circuit in draw.DRAWINGS[name][1]:
        if circuit == "instrument":
            continue
        for part in parts.read_netlist(circuit).values():
            for number, node in enumerate(part.nodes):
                node = {"battery_minus": "gnd"}.get(node, node)
                net = JOINED.get(name, {}).get((circuit, node), node if node in OWN_NAMES else (circuit, node))
                nets.setdefault(net, set()).add((part.reference, number))
    return {frozenset(net) for net in nets.values()}


@pytest.fixture(scope="module")
def sheets():
    return {name: draw.sheet_of(name) for name in draw.DRAWINGS}


@pytest.mark.parametrize("name", draw.DRAWINGS)
def test_a_drawing_connects_what_its_netlists_connect(sheets, name):
    own = set(draw.bill_parts("instrument"))
    drawn = {
        frozenset(key for key in net if len(key) == 2 and key[0] not in own) for net in sheets[name].nets()
    } - {frozenset()}
    assert drawn == expected_nets(name)


@pytest.mark.parametrize("name", draw.DRAWINGS)
def test_no_text_lies_on_another_or_on_a_wire(sheets, name):
    boxes = sheets[name].texts
    for index, ((left, right, low, high), words) in enumerate(boxes):
        for (left_2, right_2, low_2, high_2), others in boxes[:index]:
            apart = left >= right_2 or left_2 >= right or low >= high_2 or low_2 >= high
            assert apart, (words, others)
        for (x1, y1), (x2, y2) in sheets[name].wires:
            apart = max(x1, x2) <= left or min(x1, x2) >= right or max(y1, y2) <= low or min(y1, y2) >= high
            assert apart, (words, (x1, y1), (x2, y2))


def test_the_instrument_joins_board_battery_and_circuits(sheets):
    nets = sheets["instrument"].nets()

    def net_of(*terminal):
        (found,) = [net for net in nets if terminal in net]
        return found

    assert ("R57", 1) in net_of("MOD1", 0)  # GP15
    assert ("D82", 1) in net_of("MOD1", 1)  # VSYS
    assert ("R54", 0) in net_of("MOD1", 2)  # 3.3 V
    assert ("gnd",) in net_of("MOD1", 3) and ("gnd",) in net_of("BT81", 1)
    assert ("S81", 0) in net_of("BT81", 0) and ("F81", 0) in net_of("S81", 1)


@pytest.mark.parametrize("name", draw.DRAWINGS)
def test_each_part_stands_on_the_committed_drawing_with_its_value(sheets, name):
    found = " ".join(texts(FOLDER / f"{name}.svg"))
    for reference, part in sheets[name].parts.items():
        assert re.search(rf"\b{reference}\b", found), reference
        if part.number is not None and part.value != "fuse":
            assert re.search(rf"\b{re.escape(part.value)}\b", found), (reference, part.value)


def test_the_committed_drawings_are_what_the_script_draws(tmp_path):
    subprocess.run([sys.executable, str(HARDWARE / "draw.py"), str(tmp_path)], check=True)
    names = {path.name for path in tmp_path.glob("*.svg")}
    assert names == {f"{name}.svg" for name in draw.DRAWINGS}
    for name in names:
        assert texts(FOLDER / name) == texts(tmp_path / name), f"draw {name} again: python firmware/hardware/draw.py"
        assert (FOLDER / name).stat().st_size < 80_000


def test_the_drawing_of_the_coil_is_what_its_script_draws(tmp_path):
    subprocess.run([sys.executable, str(HARDWARE / "draw_coil.py"), str(tmp_path)], check=True)
    drawn = (tmp_path / "coil.svg").read_text(encoding="utf-8")
    assert (FOLDER / "coil.svg").read_text(encoding="utf-8") == drawn
    for word in ("slot", "C1", "tap", "W1", "former", "foil"):
        assert word in drawn


def test_a_wrong_connection_is_noticed(sheets):
    wrong = draw.Sheet(dict(sheets["input-schmitt"].parts))
    draw.schmitt(wrong, draw.At())
    wrong.wire((6.6, 0), (6.6, -4.2))  # the bias resistor is bridged
    own = {frozenset(key for key in net if len(key) == 2) for net in wrong.nets()} - {frozenset()}
    assert own != expected_nets("input-schmitt")


def test_the_pin_is_the_one_that_the_firmware_reads():
    coil = re.search(r"^COIL = (\d+)", (HARDWARE.parent / "pins.py").read_text(encoding="utf-8"), re.MULTILINE)[1]
    for name in ("input-schmitt", "input-comparator", "instrument"):
        assert f"GP{coil}" in texts(FOLDER / f"{name}.svg")


def test_the_middle_of_the_supply_is_what_the_divider_makes():
    found = parts.read_netlist("input-schmitt")
    volt = 3.3 * found["R55"].number / (found["R54"].number + found["R55"].number)
    assert f"mid, {volt:.2f} V" in texts(FOLDER / "input-schmitt.svg")
