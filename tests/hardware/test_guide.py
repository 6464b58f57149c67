"""BUILD.md and WIRING.md against the program, the parts and the drawings: nothing that they name may be missing."""

import re
import shlex
from dataclasses import replace

import pytest
from circuits import parts
from coilcount.check.questions import QUESTIONS
from coilcount.commands.cli import main
from coilcount.plan.expected import expectations
from coilcount.schema.build_check import PAIR
from coilcount.schema.plan import PlanFile
from spice import HARDWARE

FIRMWARE = HARDWARE.parent
GUIDE = (FIRMWARE / "BUILD.md").read_text(encoding="utf-8")
WIRING = (FIRMWARE / "WIRING.md").read_text(encoding="utf-8")
PAGES = {"BUILD.md": GUIDE, "WIRING.md": WIRING}
STEPS = re.split(r"^## (?=\d+\. )", GUIDE, flags=re.M)[1:]


def commands(text):
    """The command lines in the blocks of code and in backticks."""
    blocks = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.S))
    lines = [line for line in blocks.splitlines() if line.startswith("coilcount ")]
    return lines + [words for words in re.findall(r"`(coilcount [^`]+)`", text) if "--" in words]


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)\s]+)\)", PAGES[page]):
        name, _, anchor = target.partition("#")
        path = FIRMWARE / name if name else FIRMWARE / page
        assert path.exists(), target
        if anchor:
            heads = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.M)
            assert anchor in {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}, target


def test_every_drawing_is_shown_or_linked():
    for path in (HARDWARE / "drawings").glob("*.svg"):
        assert f"(hardware/drawings/{path.name})" in GUIDE + WIRING, path.name


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.split("\n")[0])
def test_each_step_says_what_is_needed_done_expected_and_what_a_wrong_reading_means(step):
    title = step.split("\n")[0]
    if title.startswith("12."):  # the field has no wrong reading of its own
        return
    assert "**You need**" in step and "**Do**" in step, title
    assert "| wrong | what it means | remedy |" in step, title
    assert "**Expect**" in step or "expect |" in step or "**Measure before" in step, title


@pytest.mark.parametrize("line", sorted(set(commands(GUIDE + WIRING))))
def test_each_command_of_the_guide_has_these_options(line, capsys):
    words = shlex.split(line)
    with pytest.raises(SystemExit):
        main([words[1], "--help"])
    known = capsys.readouterr().out
    for word in words[2:]:
        if word.startswith("--"):
            assert re.search(rf"{word}\b", known), line


def test_each_reading_of_the_check_is_explained():
    for question in QUESTIONS:
        if question.name != "current":  # from the battery; its plain name says it
            assert f"`{question.name}`" in GUIDE, question.name


def test_each_part_that_a_page_names_is_in_the_bill():
    listed = {row["reference"] for row in parts.read_bill()}
    for text in PAGES.values():
        assert set(re.findall(r"\b(?:R|C|D|Q|U|F|L|S)\d{1,2}\b", text)) <= listed


def test_the_figures_of_step_5_are_those_of_the_check():
    plan = PlanFile()
    untapped, tapped = plan, replace(plan, coil=replace(plan.coil, centre_tap=True))
    ranges = expectations(tapped, PAIR, 0.02, 60.0).ranges
    running = float(re.search(r"\*\*([\d.]+) V if it oscillates", GUIDE)[1])
    assert ranges["emitters_v"].value == pytest.approx(running, abs=0.02)
    without_tap = float(re.search(r"`emitters` ([\d.]+) V in place of", GUIDE)[1])
    assert expectations(untapped, PAIR, 0.02, 60.0).ranges["emitters_v"].value == pytest.approx(without_tap, abs=0.02)
    milliampere, supply_v = ranges["oscillator_ma"].value, ranges["oscillator_v"].value
    assert f"for\n{milliampere:.1f} mA" in GUIDE
    assert f"| {supply_v:.2f} V: {milliampere:.1f} mA flow through R81" in GUIDE
    assert 5.0 - supply_v == pytest.approx(milliampere * 0.1, abs=0.01)  # V; R81 has 100 ohm
    side_v = float(re.search(r"([\d.]+) V to each side", GUIDE)[1])
    assert 2 * side_v == pytest.approx(ranges["end_swing_v"].value, rel=0.05)
    assert f"{ranges['mid_v'].value:.2f} V at 3.3 V" in GUIDE and f"{ranges['mid_v'].value:.2f} V" in WIRING


def test_the_pages_say_that_nothing_was_built():
    assert "No hardware has been at hand" in GUIDE and "Nothing here was built" in WIRING
    for words in ("pacemakers", "ordnance", "mains", "cable or pipe", "Soldering", "Coil ends"):
        assert words in GUIDE
