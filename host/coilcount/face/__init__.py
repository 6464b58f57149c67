"""What a person meets: commands, live screen, plain lines."""
