"""What the physics says before any wire is wound: coil, capacitor, targets, ground, power."""
