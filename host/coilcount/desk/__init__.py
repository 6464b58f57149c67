"""After sweeping: what recordings say of the oscillator, the ground and the settings."""
