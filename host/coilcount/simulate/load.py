"""Loads scenes by name or from a file, and checks that their coil can be built."""

from dataclasses import replace
from pathlib import Path

from coilcount.errors import InputError, did_you_mean
from coilcount.schema.plan import read_plan
from coilcount.schema.tables import read_file
from coilcount.schema.toml_text import SHOWN_OF_A_SENTENCE, shown
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.scene import Scene

SCENE_DIR = Path(__file__).parent / "scenes"


def built_in_scenes() -> list[str]:
    """The names of the built-in scenes, sorted."""
    return sorted(path.stem for path in SCENE_DIR.glob("*.toml"))


def load_scene(name_or_file: str) -> Scene:
    """Load the scene of a TOML file or of a built-in name.

    Raises InputError if there is no such scene, if the file is wrong, or if the coil cannot be built.
    """
    if "/" in name_or_file or name_or_file.endswith(".toml"):
        path = Path(name_or_file)
    else:
        known = built_in_scenes()
        if name_or_file not in known:
            remedy = did_you_mean(name_or_file, known) + " A file ends in .toml"
            raise InputError(f'there is no scene "{name_or_file}"', remedy=remedy)
        path = SCENE_DIR / f"{name_or_file}.toml"
    scene = read_file(Scene, path)
    if scene.plan:
        scene = replace(scene, coil=read_plan(path.parent / scene.plan).coil)
    try:
        CoilModel(scene)
    except InputError as error:
        raise InputError(shown(error.what, SHOWN_OF_A_SENTENCE), str(path), error.remedy) from None
    return scene
