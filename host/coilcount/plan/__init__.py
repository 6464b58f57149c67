"""Planning a coil before it is wound: coil, capacitor, targets, soil, sweep, power."""
