"""Common objects of the plan, and the user's own objects."""

from dataclasses import replace

from coilcount.errors import InputError, did_you_mean
from coilcount.physics.bodies import Body, named_body
from coilcount.physics.constants import MATERIALS
from coilcount.plan.quantity import quantity
from coilcount.schema.body import SIZES
from coilcount.schema.plan import OwnTarget

# Sizes in mm: outer diameter, thickness (of a ring its wire, of a can or cap its sheet), length, hole.
CATALOGUE = {
    "copper coin 24 mm": named_body("disc", "copper", 24, 1.75),
    "cupronickel coin 24 mm": named_body("disc", "cupronickel", 24, 1.75),
    "steel-core coin 20 mm": named_body("disc", "steel", 20.3, 1.65),
    "gold-alloy ring 22 mm": named_body("ring", "gold-alloy", 22.2, 2.2),
    "lead ball 12 mm": named_body("ball", "lead", 12),
    "foil piece 40 mm": named_body("disc", "aluminium-foil", 40, 0.015),
    "foil sheet 10x10 cm": named_body("plate", "aluminium-foil", 100, 0.015),
    "drink can, aluminium": named_body("can", "aluminium", 66, 0.1, 115),
    "copper ball 50 mm": named_body("ball", "copper", 50),
    "nail 75 mm": named_body("rod", "steel", 3.5, length_mm=75),
    "bolt 60 mm": named_body("rod", "steel", 10, length_mm=60),
    "steel ring 20 mm": named_body("ring", "steel", 20, 2),
    "steel washer 25 mm": named_body("washer", "steel", 25, 1.5, hole_mm=13),
    "crown cap": named_body("cap", "steel", 29, 0.24, 6),
    "steel lid 70 mm": named_body("disc", "steel", 70, 0.2),
    "food can, steel": named_body("can", "steel", 75, 0.2, 110),
    "steel ball 20 mm": named_body("ball", "steel", 20),
    "steel ball 50 mm": named_body("ball", "steel", 50),
    "steel plate 20x20 cm": named_body("plate", "steel", 200, 3),
}


def own_body(target: OwnTarget) -> Body:
    """Make the body of a user's object.  A square plate becomes a disc of the same area."""
    sizes = (target.diameter_mm, target.thickness_mm, target.length_mm, target.hole_mm)
    if target.metal is not None:
        return named_body(target.shape, target.metal, *sizes)
    body = named_body(target.shape, "steel", *sizes)
    return replace(body, conductivity=target.conductivity_s_m, mu_r=target.mu_r, metal=None)


def parse_target(text: str) -> OwnTarget:
    """Read an object written as `SHAPE METAL SIZE [SIZE [SIZE]]`, such as "rod steel 4mm 90mm".

    SIZE: first the diameter (the side of a plate), then the length of a rod, can or cap or the hole of a washer, then
    the thickness of a disc, washer, ring, plate, can or cap.  METAL: a name, or conductivity and permeability such as
    "6e6S/m:100".  Raises InputError.
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
