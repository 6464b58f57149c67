"""The report page as a file: size, what is packed, hashes of its policy, contrast of its colours."""

import base64
import hashlib
import json
import random
import re
import zlib

import pytest
from coilcount.face.page import _file, page_html
from coilcount.face.page_data import packed, runs, shift_step_ppm
from coilcount.model import Header, MarkMade
from page_samples import alert, page_of


def test_an_hour_of_noisy_readings_with_800_alerts_takes_less_than_a_megabyte():
    rng = random.Random(3)
    shifts = [rng.gauss(0, 0.3) for _ in range(180_000)]
    alerts = [
        alert(n + 1, 4.5 * n + rng.uniform(0, 4), rng.choice((1, -1)), score=rng.uniform(4, 20)) for n in range(800)
    ]
    positions = [(2.6 * 1.05**k, alerts[: 800 - 13 * k]) for k in range(60)]
    # Noise that is not correlated is the worst case for the statistic: the real one is smooth.
    size = len(page_html([page_of(shifts, positions)]))
    print(f"page of an hour: {size / 1000:.0f} kB")
    assert size < 1_000_000


def test_text_from_outside_cannot_end_the_data():
    evil = "</script><script>alert(1)</script>"
    made = page_of([0.0] * 10, header=Header("import", "", notes={evil: evil}), name=evil, marks=(MarkMade(0.1, evil),))
    text = page_html([made])
    assert evil not in text and "&lt;/script&gt;" in text
    assert evil in zlib.decompress(base64.b64decode(packed(made)), -15).decode("latin-1")


def test_the_plan_of_the_coil_is_in_the_page_as_lines():
    build = {"file": "plan.toml", "sha256": "ab", "plan": {"schema": 1, "coil": {"turns": 30, "wire": "26 AWG"}}}
    made = page_of([0.0] * 10, header=Header("serial", "2026-05-01T09:00:00Z", build=build))
    data = zlib.decompress(base64.b64decode(packed(made)), -15)
    head = json.loads(data[4 : 4 + int.from_bytes(data[:4], "little")])
    assert head["build"] == {
        "file": "plan.toml",
        "sha256": "ab",
        "plan": 'schema = 1\n\n[coil]\nturns = 30\nwire = "26 AWG"',
    }


def test_the_policy_names_the_hash_of_the_style_and_of_the_script_and_nothing_else():
    text = page_html([page_of([0.0] * 10)])
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    style = re.search(r"<style>(.*?)</style>", text, re.S)[1]
    script = re.findall(r"<script>(.*?)</script>", text, re.S)[0]
    for part in (style, script):
        digest = base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()
        policy = policy.replace(f"'sha256-{digest}'", "OURS")
    assert policy == "default-src 'none'; script-src OURS; style-src OURS; base-uri 'none'; form-action 'none'"
    assert not re.search(r"\b(src|href)=\"(?!#)|\bon\w+=|style=\"|https?:", text.replace('href="#', ""))


def test_the_step_is_a_round_number_of_at_most_a_tenth_of_the_noise():
    assert [shift_step_ppm(noise) for noise in (0.9, 0.2, 0.14, 50.0, 1e-9, None)] == [
        0.05,
        0.02,
        0.01,
        1.0,
        0.001,
        0.001,
    ]


def test_times_are_runs_with_a_break_at_every_silence():
    times = [0.02 * i for i in range(100)] + [5 + 0.02 * i for i in range(50)] + [9.0]
    assert [(start, count) for start, _, count in runs(times)] == [(0.0, 100), (5.0, 50), (9.0, 1)]
    assert runs([1.0]) == [[1.0, 0.0, 1]] and runs([]) == []


def luminance(colour: str) -> float:
    """Relative luminance (W3C, WCAG 2.1)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("theme", [0, 1, 2], ids=["light", "dark", "dark by the system"])
def test_text_has_a_contrast_of_4_5_and_drawings_of_3(theme):
    blocks = re.findall(r"color-scheme: \w+;(.*?)\}", _file("page.css"), re.S)
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})\b", blocks[theme]))

    def contrast(one: str, other: str) -> float:
        lights = sorted((luminance(colours[one]), luminance(colours[other])))
        return (lights[1] + 0.05) / (lights[0] + 0.05)

    for text in ("ink", "soft", "rise", "fall"):
        for ground in ("paper", "page", "warn"):
            assert contrast(text, ground) >= 4.5, (text, ground)
    for drawn in ("trace", "mark", "object", "nothing", "pick"):
        assert contrast(drawn, "paper") >= 3, drawn
    # In grey, too, a rise and a fall are told apart: by shape and place; their colours differ in hue only.
    assert colours["rise"] != colours["fall"]
