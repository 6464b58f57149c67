"""`coilcount plan` as its user sees it: text, JSON, files, pictures, wrong words."""

import json
import re

import pytest
from coilcount.commands.cli import main
from coilcount.face import pictures
from coilcount.physics.tank import make_tank
from coilcount.plan import make
from coilcount.plan.catalogue import parse_target
from coilcount.schema.plan import PlanFile, read_plan
from coilcount.schema.tables import to_toml
from coilcount.settings import read_settings
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.load import load_scene
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text


def plan(capsys, *words: str) -> tuple[int, str, str]:
    code = main(["plan", *words])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture(scope="module")
def document():
    own = tuple(map(parse_target, ("can brass 50mm 80mm 0.5mm", "ball steel 9mm", "plate 6e6S/m:150 500mm 2.5mm")))
    return make.make_plan(PlanFile(target=own), curves=True)


@pytest.fixture
def few_targets(monkeypatch):
    """Two objects in place of the catalogue: tests that are not about it need not solve it all."""
    few = {name: make.CATALOGUE[name] for name in ("copper ball 50 mm", "bolt 60 mm")}
    monkeypatch.setattr(make, "CATALOGUE", few)


def test_a_whole_plan_fits_eighty_columns(capsys):
    code, out, err = plan(capsys, "--all")
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    sections = ("coil", "frequency", "capacitor", "drift", "noise", "finds", "iron", "coil size", "pass", "ground")
    for word in (*sections, "power", "cautions"):
        assert re.search(rf"^{word}  ", out, re.MULTILINE), word
    assert "30 turns of 26 AWG" in out
    assert out.count("Not a safety device") == 1
    assert "compliance" in out


def test_the_short_answer_fits_a_screen(capsys):
    code, out, err = plan(capsys)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 24
    for word in ("wind", "capacitor", "frequency", "finds", "iron", "caution"):
        assert re.search(rf"^{word}  ", out, re.MULTILINE), word
    assert re.search(r"copper coin 24 mm, flat +\d+ \(\d+-\d+\)", out)
    assert re.search(r"25\.00 kHz \(2\d\.\d to 2\d\.\d kHz", out)
    for words in ("3 cm above", "1 false alarm a minute", "Careful oscillator: regulated", "plan --all", "crown cap"):
        assert words in " ".join(out.split()), words


def test_the_objects_of_the_short_answer(capsys):
    words = ("--object", "lead ball", "--target", "disc copper 30mm 2mm", "--noise", "3ppm", "--centre-tap")
    _, out, _ = plan(capsys, *words)
    assert "your noise" in out
    assert re.search(r"centre tap: \d+\.\d uH each half", out)
    assert [line.split()[0] for line in out.splitlines() if re.search(r"\(\d+-\d+\)$", line)] == ["lead", "disc"]


def test_a_comparison_of_coils(capsys, tmp_path):
    words = ("--compare", "diameter=10cm,20cm", "--depth", "15cm")
    code, out, _ = plan(capsys, *words)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert re.search(r"^15 cm +quiet soil: reached by 20 cm", out, re.MULTILINE)
    assert re.search(r"^best +within half a centimetre", out, re.MULTILINE)
    code, out, err = plan(capsys, *words, "--json", "--picture", str(tmp_path / "drawn"))
    found = json.loads(out)
    assert (code, found["kind"], found["name"]) == (0, "plan comparison", "diameter")
    assert [coil["diameter_mm"] for coil in found["coils"]] == [100.0, 200.0]
    assert {path.name for path in (tmp_path / "drawn").iterdir()} == {"coils.svg", "coils.png"}
    assert err.count("wrote ") == 2


def test_json_holds_what_the_text_says(capsys, few_targets):
    _, out, _ = plan(capsys, "--json", "--noise", "3ppm", "--target", "rod steel 4mm 90mm", "--centre-tap")
    found = json.loads(out)
    assert found["coil"]["frequency_hz"] == pytest.approx(25e3, rel=5e-3)
    assert found["coil"]["centre_tap"]["coupling"] < 1
    own = [row for row in found["targets"] if row["object"] == "rod steel 4mm 90mm"]
    assert [row["attitude"] for row in own] == ["on end", "lying"]
    for row in found["targets"]:
        assert len(row["shift_hz"]) == len(row["distance_cm"]) == len(row["phase_deg"]) == len(row["loss_ppm"])
        for hz, ppm in zip(row["shift_hz"], row["shift_ppm"], strict=True):
            assert hz == pytest.approx(ppm * found["coil"]["frequency_hz"] * 1e-6, rel=1e-5)
        depths = [row["depth_cm"][name] or 0.0 for name in ("poor", "typical", "given", "careful")]
        assert depths == sorted(depths)


def test_the_depths_of_common_objects(document):
    """Distances in cm agree within 0.8 cm with an independent computation, for 1 Hz, typical and careful noise.

    A depth counts from the surface, 3 cm below the coil; the independent computation counts from the coil's plane.
    """
    rows = {(row.object, row.attitude): row.depth_cm for row in document.targets}
    for key, want in {
        ("copper coin 24 mm", "flat"): (7, 11, 17),
        ("cupronickel coin 24 mm", "flat"): (6, 10, 15),
        ("lead ball 12 mm", "any"): (4, 7, 11),
        ("foil sheet 10x10 cm", "flat"): (15, 20, 31),
        ("drink can, aluminium", "upright"): (15, 21, 32),
        ("copper ball 50 mm", "any"): (11, 16, 25),
        ("bolt 60 mm", "lying"): (6, 9, 15),
        ("steel plate 20x20 cm", "flat"): (23, 32, 48),
    }.items():
        assert [rows[key][name] + 3 for name in ("1 Hz", "typical", "careful")] == pytest.approx(want, abs=0.8)


def test_the_plan_lists_iron_objects_that_read_as_non_ferrous(document):
    rises, falls = document.iron.reads_non_ferrous, document.iron.reads_ferrous
    assert {"crown cap, flat", "steel lid 70 mm, flat", "steel ball 50 mm"} <= set(rises)
    assert {"crown cap, on edge", "steel ball 20 mm", "nail 75 mm, lying"} <= set(falls)
    words = " ".join(document.iron.words)
    assert all(name in words for name in rises)
    # An independent computation (computed): a radius of 16.6 mm at permeability 100.
    assert document.iron.ball_flip_mm["100"] == pytest.approx(33.2, rel=0.01)
    assert "a steel ball up to 33 mm across lowers the frequency" in words


def test_turns_and_capacitor_are_chosen_for_a_frequency(capsys, few_targets):
    _, out, _ = plan(capsys, "--frequency", "25k", "--drawer", "E12", "--diameter", "15cm", "--json")
    found = json.loads(out)
    assert found["capacitor"]["choices"][0]["turns"] == found["coil"]["turns"]
    assert found["coil"]["frequency_hz"] == pytest.approx(25e3, rel=5e-3)


def test_a_measurement_overrides_and_calibrates_the_rest(capsys, few_targets):
    """Inductance rises as 1/f^2 of the measured frequency, and shifts fall as 1/L."""
    documents = [
        json.loads(plan(capsys, "--json", "--capacitor", "180n", *more)[1])
        for more in ((), ("--measured-frequency", "24k"))
    ]
    usual, measured = (found["coil"] for found in documents)
    assert measured["frequency_hz"] == pytest.approx(24e3, rel=1e-6)
    assert measured["calibration"] == pytest.approx((usual["frequency_hz"] / 24e3) ** 2, rel=1e-3)
    assert measured["computed_uh"] == pytest.approx(usual["computed_uh"], rel=1e-4)  # eddy currents change with f
    ball = [next(row for row in found["targets"] if row["object"] == "copper ball 50 mm") for found in documents]
    ratio = ball[1]["shift_ppm"][5] / ball[0]["shift_ppm"][5]
    assert ratio == pytest.approx(1 / measured["calibration"], rel=0.01)


def test_files_of_a_plan(capsys, tmp_path, few_targets):
    file, settings, scene = tmp_path / "plan.toml", tmp_path / "settings.toml", tmp_path / "scene.toml"
    words = ("--turns", "25", "--target", "ball lead 9mm", "--measured-frequency", "30k", "--capacitor", "180n")
    words += ("--depth", "8cm")
    code, first, _ = plan(capsys, *words, "--json", "--save", str(file), "--save-settings", str(settings))
    assert code == 0
    assert json.loads(plan(capsys, "--plan", str(file), "--json")[1]) == json.loads(first)
    assert read_plan(file).target[0].object == "ball lead 9mm"
    assert list(read_settings(settings).tracker["widths_s"]) == json.loads(first)["sweep"]["widths_s"]
    # The simulator winds the very same coil.
    scene.write_text('schema = 1\nplan = "plan.toml"\nduration_s = 20\n', encoding="utf-8")
    assert CoilModel(load_scene(str(scene))).f0_hz == make_tank(**read_plan(file).coil.si()).frequency_hz
    code, _, err = plan(capsys, "--save", str(file), "--quiet")
    assert (code, err.count("\n")) == (2, 1)
    assert "the file exists" in err


def test_a_plan_file_written_by_hand_may_be_short(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("[coil]\nturns = 28\n", encoding="utf-8")
    coil = read_plan(file).coil
    assert (coil.turns, coil.diameter_mm, coil.capacitor_nf) == (28, 100.0, 180.0)
    file.write_text(to_toml(read_plan(file)), encoding="utf-8")
    assert read_plan(file).coil == coil


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--wire", "12mm"), "12 mm wire.*room for only 30 mm"),
        (("--wire", "12mm", "--frequency", "25k"), "12 mm wire.*room for only 30 mm"),
        (("--groove", "2mm"), "2.74 mm thick, but there is room for only 2 mm"),
        (("--pitch", "0.3mm"), "pitch of 0.3 mm is less than the wire's"),
        (("--depth", "-5cm"), "--depth is -5cm.*between"),
        (("--depth", "140cm"), "out of this coil's reach.*Give"),
        (("--target", "disc coper 24mm 2mm"), 'Did you mean "copper"'),
        (("--frequency", "150k", "--turns", "120", "--diameter", "30cm"), "above the coil's own resonance"),
        (("--capacitor", "180"), "Write it with its unit: 180n"),
        (("--frequency", "25k", "--capacitor", "180n"), "both --frequency and --capacitor"),
        (("--frequency", "25k", "--drawer", "E13"), 'no series "E13"'),
        (("--measured-frequency", "90k", "--capacitor", "180n"), "these turns make"),
        (("--plan", "none.toml"), "no such plan.*none.toml"),
        (("--turns", "0"), "turns is 0"),
        (("--wire", "thick"), "is no wire size"),
        (("--layout", "bundel"), "bundel"),
        (("--object", "sword"), 'no object is called "sword"'),
        (("--compare", "size=1cm,2cm"), "cannot be compared by"),
        (("--compare", "diameter=10cm,20cm", "--object", "coin", "--object", "nail"), "looks for one object"),
        (("--compare", "diameter=10cm,20cm", "--save-settings", "s.toml"), "settings of one coil"),
        (("--compare", "wire=thick,0.2mm"), "wire thick: .*is no wire size"),
    ],
)
def test_a_wrong_word_is_one_line(capsys, words, expected):
    try:
        code, out, err = plan(capsys, *words)
    except SystemExit as left:  # argparse's own refusals
        code, out, err = left.code, *capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert re.search(expected, err), err


def test_pictures_are_written_and_nothing_in_them_overlaps(document, tmp_path):
    written = pictures.draw_plan(document, tmp_path / "new")
    assert sorted(path.name for path in written) == ["depth.png", "depth.svg", "response.png", "response.svg"]
    assert all(path.stat().st_size > 10_000 for path in written)
    again = pictures.draw_plan(document, tmp_path / "again")
    assert [path.read_bytes() for path in written] == [path.read_bytes() for path in again]
    for figure in (pictures._depth(document), pictures._response(document)):
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        texts = [
            text
            for axes in figure.axes
            for text in (*axes.texts, *axes.get_xticklabels(), *axes.get_yticklabels(), axes.title, axes.xaxis.label)
            if text.get_text() and text.get_visible()
        ]
        boxes = [Text.get_window_extent(text) for text in texts]  # of an annotation, its words without the leader
        for i, box in enumerate(boxes):
            assert box.x0 >= 0, texts[i].get_text()
            assert box.x1 <= figure.bbox.x1, texts[i].get_text()
            for k in range(i):
                assert not box.overlaps(boxes[k]), (texts[i].get_text(), texts[k].get_text())
        assert all("," in axes.get_xlabel() for axes in figure.axes)  # every axis names its unit
