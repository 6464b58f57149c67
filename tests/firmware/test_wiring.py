"""WIRING.md and its drawings name the same values, and the pin is the one in pins.py."""

import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
FIGURES = ("schmitt-input", "comparator-input", "power")


def labels(path: Path) -> list[str]:
    """Return every line of text in an SVG, sorted."""
    root = ElementTree.parse(path).getroot()
    texts = ["".join(element.itertext()).strip() for element in root.iter("{http://www.w3.org/2000/svg}text")]
    return sorted(text for text in texts if text)


def values(text: str) -> set[str]:
    """Return the resistances and capacitances in `text`, in one spelling."""
    text = text.replace("µ", "u").replace(" Ω", " ohm")
    return set(re.findall(r"\b\d[\d.]*[kM]\b|\b\d[\d.]* (?:nF|uF)\b", text))


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawn")
    subprocess.run([sys.executable, str(FIRMWARE / "wiring" / "draw.py"), str(folder)], check=True)
    return folder


@pytest.mark.parametrize("name", FIGURES)
def test_the_committed_figure_is_what_the_script_draws(drawn, name):
    found = labels(FIRMWARE / "wiring" / f"{name}.svg")
    assert len(found) > 5 and found == labels(drawn / f"{name}.svg")


def test_page_and_figures_name_the_same_values():
    page = (FIRMWARE / "WIRING.md").read_text(encoding="utf-8")
    for name in FIGURES:
        assert f"(wiring/{name}.svg)" in page
    drawn = set().union(*(values(" ".join(labels(FIRMWARE / "wiring" / f"{name}.svg"))) for name in FIGURES))
    assert drawn == {"22k", "20k", "470k", "1k", "50k", "2.2M", "4.7 nF", "1 nF", "100 nF", "100 uF"}
    # 180 nF is the capacitor of the tank, which no figure shows.
    assert values(page) - {"180 nF"} == drawn
    assert "simulated with ngspice" in page and "Nothing here was built" in page


def test_the_middle_of_the_supply_is_what_the_divider_makes():
    page = (FIRMWARE / "WIRING.md").read_text(encoding="utf-8")
    assert f"{3.3 * 20 / (22 + 20):.2f} V" == "1.57 V"
    assert "mid, 1.57 V" in labels(FIRMWARE / "wiring" / "schmitt-input.svg") and "1.57 V" in page


def test_the_pin_is_the_one_that_the_firmware_reads():
    coil = re.search(r"^COIL = (\d+)", (FIRMWARE / "pins.py").read_text(encoding="utf-8"), re.MULTILINE)[1]
    for name in FIGURES[:2]:
        assert f"GP{coil}" in labels(FIRMWARE / "wiring" / f"{name}.svg")
