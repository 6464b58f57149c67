"""No strong pass over the soils of the captures of this repository gets the wrong answer (simulated)."""

import csv
import re

import pytest
from coilcount.capture.reader import Report, read_capture
from coilcount.chain.chain import Chain
from coilcount.model import Alert
from coilcount.settings import defaults
from micropython_tool import ROOT

CAPTURES = ROOT / "captures"
STRONG_PPM = 30.0


def answers_of(name):
    """The final alerts of a capture."""
    chain, found = Chain(defaults()), []
    outputs = [output for entry in read_capture(CAPTURES / f"{name}.ccap.gz", Report()) for output in chain.feed(entry)]
    for output in [*outputs, *chain.finish()]:
        if isinstance(output, Alert) and output.stage == "final":
            found.append(output)
    return found


def strong_passes(name):
    """(time of the closest approach in s, peak in ppm, true response) of each strong pass, from the labels."""
    with open(CAPTURES / f"{name}.labels.csv", encoding="utf-8") as file:
        rows = [(row, re.match(r"peak ([-+][\d.]+) ppm", row["note"])) for row in csv.DictReader(file)]
    passes = [(float(row["closest_s"]), float(peak[1]), row["response"]) for row, peak in rows if peak]
    return [pass_ for pass_ in passes if abs(pass_[1]) >= STRONG_PPM]


@pytest.mark.parametrize(("name", "least"), [("mineral-soil", 6), ("orchard-path", 5), ("warm-up-unplug", 4)])
def test_no_strong_pass_gets_the_wrong_answer(name, least):
    alerts = answers_of(name)
    passes = strong_passes(name)
    assert len(passes) >= least
    for closest_s, _, response in passes:
        near = [alert for alert in alerts if abs(alert.peak_s - closest_s) < 0.3]
        best = max(near, key=lambda alert: alert.score)
        assert best.response in (response, "uncertain"), closest_s
