"""Where bytes come from: the serial ports, the link to a board, and its settings."""
