"""Scenes: what is read, and one clear line for each mistake."""

import tomllib

import pytest
from coilcount.errors import InputError
from coilcount.physics import constants, dielectric, noise, oscillator, outline, shield
from coilcount.physics.winding import LAYOUTS
from coilcount.schema import coil as coil_table
from coilcount.schema.tables import read_table
from coilcount.simulate import scene as scenes
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.load import built_in_scenes, load_scene
from coilcount.simulate.scene import Scene

START = "schema = 1\nduration_s = 20\n"
COIN = (
    '[[target]]\nobject = "coin"\nshape = "disc"\nmetal = "copper"\n'
    "diameter_mm = 24\nthickness_mm = 1.75\ndepth_cm = 5\nat_s = 7\n"
)


def read(text: str) -> Scene:
    return read_table(Scene, tomllib.loads(text), "meadow.toml")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (START + COIN.replace("depth_cm = 5", "depth_cm = -5"), ["[[target]] 1, depth_cm is -5", "between 0 and 200"]),
        (START + COIN.replace("copper", "coper"), ['[[target]] 1, metal is "coper"', 'Did you mean "copper"?']),
        (START + COIN.replace("depth_cm", "dept_cm"), ['[[target]] 1, there is no key "dept_cm"', '"depth_cm"?']),
        (START + COIN.replace("thickness_mm = 1.75\n", ""), ["[[target]] 1", 'disc needs the key "thickness_mm"']),
        (START + COIN.replace("diameter_mm = 24\n", ""), ["[[target]] 1", '"diameter_mm" is missing']),
        (START + COIN.replace("at_s = 7", "at_s = 70"), ["[[target]] 1, at_s is 70", "duration_s"]),
        (START + COIN.replace("at_s = 7", 'at_s = "noon"'), ['[[target]] 1, at_s is "noon"', "seconds"]),
        (START + COIN.replace("at_s = 7", "at_s = []"), ["[[target]] 1, at_s", "at least one time"]),
        (START + COIN.replace("depth_cm = 5", "depth_cm = nan"), ["depth_cm is nan", "Give a number"]),
        (START + COIN.replace("depth_cm = 5", "depth_cm = true"), ["depth_cm is true", "Give a number"]),
        (START + "[oscillator]\nnoise = 3\n", ["[oscillator] noise is 3", "careful"]),
        (START + "[unplug]\nstart_s = 3\nend_s = 4\n", ["unplug is", "[[unplug]]"]),
        (START + "[[unplug]]\nstart_s = 4\nend_s = 3\n", ["[[unplug]] 1", "end_s must be after start_s"]),
        (START + "[[stopped]]\nstart_s = 4\nend_s = 33\n", ["[[stopped]] 1, end_s is 33", "duration_s"]),
        (START + "[ground]\nwobble_low_hz = 3\n", ["[ground] wobble_low_hz must be below wobble_high_hz"]),
        (START + "[coil]\nturns = 2.5\n", ["[coil] turns is 2.5", "whole number"]),
        (START + "coil = 3\n", ["coil is 3", "Write a table"]),
        (START + 'start_utc = "yesterday"\n', ['start_utc is "yesterday"', "2025-05-10T09:00:00Z"]),
        ("duration_s = 20\n", ['"schema" is missing']),
        ("schema = 2\nduration_s = 20\n", ["schema is 2"]),
    ],
)
def test_a_wrong_scene_is_one_line_with_file_and_key(text, words):
    with pytest.raises(InputError) as caught:
        read(text)
    line = str(caught.value)
    assert "\n" not in line
    for word in [*words, "meadow.toml"]:
        assert word in line


@pytest.mark.parametrize(
    ("coil", "words"),
    [
        ('wire = "thick"', '"thick" is no wire'),
        ("capacitor_nf = 20_000", "it would oscillate at"),
        ("pitch_mm = 0.1", "pitch of 0.1 mm"),
    ],
)
def test_an_impossible_coil_is_one_line(coil, words):
    with pytest.raises(InputError, match=words):
        CoilModel(read(START + f"[coil]\n{coil}\n"))


def test_files_and_names(tmp_path):
    with pytest.raises(InputError, match=r'no scene "orchrd-path".*Did you mean "orchard-path"'):
        load_scene("orchrd-path")
    with pytest.raises(InputError, match="no such file"):
        load_scene(str(tmp_path / "none.toml"))
    bad = tmp_path / "bad.toml"
    bad.write_text("schema = = 1")
    with pytest.raises(InputError, match="not TOML"):
        load_scene(str(bad))
    bad.write_text(START + "[coil]\nturns = 400\nlayout = 'flat'\n")
    with pytest.raises(InputError, match=r"\[coil\]: 400 turns .* do not fit .*bad\.toml"):
        load_scene(str(bad))
    bad.write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        load_scene(str(bad))


def test_the_built_in_scenes():
    names = built_in_scenes()
    assert {"demo", "quiet-bench", "orchard-path", "mineral-soil", "warm-up-unplug"} <= set(names)
    for name in names:
        scene = load_scene(name)
        assert scene.title
        assert 20_000 < CoilModel(scene).f0_hz < 30_000


def test_the_names_are_those_of_the_physics():
    assert set(scenes.METALS) == set(constants.MATERIALS)
    assert set(scenes.NOISE_CLASSES) == set(noise.NOISE_CLASSES)
    assert set(coil_table.LAYOUTS) == set(LAYOUTS)
    assert set(coil_table.FORMERS) == set(oscillator.FORMER_EXPANSION)
    assert set(coil_table.DIELECTRICS) < set(dielectric.DIELECTRICS)
    assert set(coil_table.SHAPES) == set(outline.SHAPES)
    assert set(coil_table.SHIELDS) == {"none", *shield.CONDUCTIVITY}
