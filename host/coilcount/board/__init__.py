"""Where bytes come from: ports, the serial link, the virtual board."""
