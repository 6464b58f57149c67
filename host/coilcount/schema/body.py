"""The words for what lies in the ground, which scenes and plans share."""

# The words of coilcount.physics, written again so that reading a file does not load the physics (a test compares).
METALS = (
    "copper", "silver", "gold", "gold-alloy", "aluminium", "brass", "bronze", "zinc", "tin", "lead", "cupronickel",
    "titanium", "stainless", "steel", "iron", "nickel", "ferrite",
)  # fmt: skip
