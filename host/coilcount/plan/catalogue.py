"""Common objects of the plan, and the user's own objects."""

from coilcount.errors import InputError, did_you_mean
from coilcount.physics.bodies import Body
from coilcount.physics.constants import MATERIALS
from coilcount.plan.quantity import quantity
from coilcount.schema.plan import SIZES, OwnTarget

FOIL_S_M = 35e6  # thin rolled aluminium, a little below the solid metal


def _body(shape: str, metal: str, diameter_mm: float, thickness_mm=None, length_mm=None, sigma=None) -> Body:
    material = MATERIALS[metal]
    return Body(
        shape,
        material.conductivity if sigma is None else sigma,
        material.mu_r,
        diameter_mm / 1e3,
        None if thickness_mm is None else thickness_mm / 1e3,
        None if length_mm is None else length_mm / 1e3,
    )


# Sizes in mm: outer diameter, thickness (of a ring's wire or of a can's wall), length.
CATALOGUE = {
    "copper coin 24 mm": _body("disc", "copper", 24, 1.75),
    "cupronickel coin 24 mm": _body("disc", "cupronickel", 24, 1.75),
    "steel-core coin 20 mm": _body("disc", "steel", 20.3, 1.65),
    "gold-alloy ring 22 mm": _body("ring", "gold-alloy", 22.2, 2.2),
    "lead ball 12 mm": _body("ball", "lead", 12),
    "foil piece 40 mm": _body("disc", "aluminium", 40, 0.015, sigma=FOIL_S_M),
    "foil sheet 10x10 cm": _body("disc", "aluminium", 112.8, 0.015, sigma=FOIL_S_M),
    "drink can, aluminium": _body("can", "aluminium", 66, 0.1, 115),
    "copper ball 50 mm": _body("ball", "copper", 50),
    "nail 75 mm": _body("rod", "steel", 3.5, length_mm=75),
    "bolt 60 mm": _body("rod", "steel", 10, length_mm=60),
    "crown cap": _body("disc", "steel", 32, 0.24),
    "steel lid 70 mm": _body("disc", "steel", 70, 0.2),
    "food can, steel": _body("can", "steel", 75, 0.2, 110),
    "steel ball 20 mm": _body("ball", "steel", 20),
    "steel ball 50 mm": _body("ball", "steel", 50),
    "steel plate 20x20 cm": _body("disc", "steel", 226, 3),
}


def own_body(target: OwnTarget) -> Body:
    """Make the body of a user's object.  A square plate becomes a disc of the same area."""
    metal = MATERIALS[target.metal] if target.metal else None
    plate = target.shape == "plate"
    return Body(
        "disc" if plate else target.shape,
        metal.conductivity if metal else target.conductivity_s_m,
        metal.mu_r if metal else target.mu_r,
        target.diameter_mm / 1e3 * (1.1284 if plate else 1.0),
        None if target.thickness_mm is None else target.thickness_mm / 1e3,
        None if target.length_mm is None else target.length_mm / 1e3,
    )


def parse_target(text: str) -> OwnTarget:
    """Read an object written as `SHAPE METAL SIZE [SIZE [SIZE]]`, such as "rod steel 4mm 90mm".

    SIZE: first the diameter (the side of a plate), then the length of a rod or can, then the thickness of a disc, ring,
    plate or can.  METAL: a name, or conductivity and permeability such as "6e6S/m:100".  Raises InputError.
    """
    words = text.split()
    where = f'--target "{text}"'
    if len(words) < 3:
        raise InputError("a target needs shape, metal and size", where, 'Write it as "rod steel 4mm 90mm"')
    shape, metal, sizes = words[0], words[1], words[2:]
    if shape not in SIZES:
        raise InputError(f'there is no shape "{shape}"', where, did_you_mean(shape, tuple(SIZES)))
    names = ("diameter_mm", *SIZES[shape])
    if len(sizes) != len(names):
        wanted = ", ".join(name.removesuffix("_mm") for name in names)
        raise InputError(f"a {shape} has {len(names)} size{'s' * (len(names) > 1)}: {wanted}", where)
    values = {
        name: quantity(word, "m", f"the {name.removesuffix('_mm')}", 1e-6, 2.0, "24mm") * 1e3
        for name, word in zip(names, sizes, strict=True)
    }
    material = {"metal": metal}
    if metal[:1].isdigit():
        sigma, _, mu_r = metal.partition(":")
        material = {"conductivity_s_m": quantity(sigma, "S/m", "the conductivity", 1, 1e8, "6e6S/m")}
        if mu_r:
            material["mu_r"] = _permeability(mu_r, where)
    elif metal not in MATERIALS:
        raise InputError(f'there is no metal "{metal}"', where, did_you_mean(metal, tuple(MATERIALS)))
    try:
        return OwnTarget(object=" ".join(words), shape=shape, **material, **values)
    except ValueError as error:
        raise InputError(str(error), where) from None


def _permeability(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1 <= value <= 1e5:
        raise InputError(f'the relative permeability is "{text}"', where, "Give a number from 1 to 100000")
    return value
