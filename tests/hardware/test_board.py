"""The stripboard: every part of the default circuits is on it, and it connects what the netlists connect."""

import subprocess
import sys
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from circuits import parts
from spice import HARDWARE

sys.path.insert(0, str(HARDWARE))
import stripboard


@pytest.fixture(scope="module")
def placed():
    return stripboard.Board()


def expected():
    """The terminals and wires that belong together, by net."""
    nets = {}
    for circuit in stripboard.CIRCUITS:
        for part in parts.read_netlist(circuit).values():
            for number, node in enumerate(part.nodes):
                nets.setdefault(stripboard.SAME.get((circuit, node), node), set()).add((part.reference, number))
    for words, net, _ in stripboard.WIRES:
        nets[net].add(("wire", words))
    return {frozenset(net) for net in nets.values()}


def test_the_board_connects_what_the_netlists_connect(placed):
    assert {frozenset(group) for group in placed.connections()} == expected()


def test_every_part_of_the_bill_is_on_the_board(placed):
    listed = {row["reference"] for row in parts.read_bill() if row["circuit"] in stripboard.CIRCUITS}
    assert {key[0] for key in placed.holes if key[0] != "wire"} == listed


def test_no_hole_is_used_twice_and_parts_do_not_overlap(placed):
    ends = [hole for link in placed.links for hole in link]
    left, right = placed.chip
    pins = [(placed.chip_row + k, column) for k in range(7) for column in (left, right)]
    mine = [hole for key, hole in placed.holes.items() if key[0] != stripboard.CHIP]
    used = mine + ends + pins + placed.cuts
    assert len(used) == len(set(used))
    assert all(1 <= row <= len(stripboard.STRIPS) and 1 <= column <= placed.columns for row, column in used)
    spans = {}
    for name, part in placed.parts.items():
        if name != stripboard.CHIP:
            holes = [placed.holes[(name, k)] for k in range(len(part.nodes))]
            for column in {hole[1] for hole in holes}:
                spans.setdefault(column, []).append((min(h[0] for h in holes), max(h[0] for h in holes)))
    for column, found in spans.items():
        found.sort()
        assert all(low < high for (_, low), (high, _) in pairwise(found)), column


def test_the_legs_of_a_transistor_reach_their_holes(placed):
    for name, part in placed.parts.items():
        if len(part.nodes) == 3:
            rows = [placed.holes[(name, k)][0] for k in range(3)]
            assert max(rows) - min(rows) <= 2, name


def test_transistors_of_equal_temperature_stand_beside_each_other(placed):
    """At most 8 mm apart, so that their cases can touch: three holes of 2.54 mm."""
    for first, second in (("Q1", "Q2"), ("Q3", "Q4")):
        apart = [
            max(abs(a[0] - b[0]), abs(a[1] - b[1]))
            for a in (placed.holes[(first, k)] for k in range(3))
            for b in (placed.holes[(second, k)] for k in range(3))
        ]
        assert min(apart) <= 3, (first, second)


def test_the_board_can_be_split_where_the_guide_says(placed):
    """Between strips 30 and 31 no part stands, and two links cross: end_a and gnd."""
    for name, part in placed.parts.items():
        if name != stripboard.CHIP:
            rows = [placed.holes[(name, number)][0] for number in range(len(part.nodes))]
            assert not min(rows) <= 30 < max(rows), name
    crossing = [stripboard.STRIPS[first[0] - 1] for first, second in placed.links if first[0] <= 30 < second[0]]
    assert sorted(crossing) == ["end_a", "gnd"]
    guide = (HARDWARE.parent / "BUILD.md").read_text(encoding="utf-8")
    assert "split between strips 30 and 31" in guide
    assert f"{len(stripboard.STRIPS)} strips with {placed.columns} holes" in guide


def test_a_cut_that_is_forgotten_is_noticed(placed):
    wrong = stripboard.Board()
    wrong.cuts.pop()
    assert {frozenset(group) for group in wrong.connections()} == expected()  # pins 7 and 8: nothing is wired to pin 8
    wrong.cuts = wrong.cuts[1:]
    assert {frozenset(group) for group in wrong.connections()} != expected()


def test_the_committed_picture_is_what_the_script_draws_and_shows_every_part(placed, tmp_path):
    done = subprocess.run(
        [sys.executable, str(HARDWARE / "stripboard.py"), str(tmp_path)], check=True, capture_output=True, text=True
    )
    drawn = (tmp_path / "board.svg").read_text(encoding="utf-8")
    committed = HARDWARE / "drawings" / "board.svg"
    assert committed.read_text(encoding="utf-8") == drawn, "draw it again: python firmware/hardware/stripboard.py"
    words = " ".join("".join(text.itertext()) for text in ElementTree.parse(committed).getroot().iter() if text.text)
    for name in placed.parts:
        assert name in words.split() and f"\n{name:5} " in done.stdout
