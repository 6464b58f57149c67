"""The words for metals, which scenes and plans share."""

# The same words as in coilcount.physics.  They are repeated so that reading a file does not load the physics; a test
# compares them.
METALS = (
    "copper", "silver", "gold", "gold-alloy", "aluminium", "brass", "bronze", "zinc", "tin", "lead", "cupronickel",
    "titanium", "stainless", "steel", "iron", "nickel", "ferrite",
)  # fmt: skip
