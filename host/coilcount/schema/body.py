"""The words for metals and shapes, which scenes and plans share."""

# The same words as in coilcount.physics.  They are repeated so that reading a file does not load the physics; a test
# compares them.
METALS = (
    "copper", "silver", "gold", "gold-alloy", "aluminium", "aluminium-foil", "brass", "bronze", "zinc", "tin", "lead",
    "cupronickel", "titanium", "stainless", "steel", "iron", "nickel", "ferrite",
)  # fmt: skip

# Sizes that each shape needs besides its diameter; of a plate, the diameter is its side.
SIZES = {
    "ball": (),
    "disc": ("thickness_mm",),
    "washer": ("hole_mm", "thickness_mm"),
    "ring": ("thickness_mm",),
    "rod": ("length_mm",),
    "cap": ("length_mm", "thickness_mm"),
    "can": ("length_mm", "thickness_mm"),
    "plate": ("thickness_mm",),
}


def refuse_impossible(shape: str, diameter_mm: float, sizes: dict[str, float | None]) -> None:
    """Raise ValueError if a size is missing, or if the sizes make no body.

    sizes: thickness_mm, length_mm and hole_mm; None for a size that was not given.
    """
    for name in SIZES[shape]:
        if sizes[name] is None:
            raise ValueError(f'a {shape} needs the key "{name}"')
    thickness = sizes["thickness_mm"]
    if shape == "ring" and thickness > 0.45 * diameter_mm:
        raise ValueError("thickness_mm, the ring's wire, must be under 0.45 of diameter_mm")
    if shape in ("can", "cap") and thickness >= 0.45 * min(diameter_mm, sizes["length_mm"]):
        raise ValueError(f"thickness_mm, the {shape}'s sheet, must be under 0.45 of its diameter and length")
    if shape == "washer" and not sizes["hole_mm"] < 0.98 * diameter_mm:
        raise ValueError("hole_mm must be below 0.98 of diameter_mm")
