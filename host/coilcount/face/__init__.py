"""What a person meets: live screen, tables, plain lines, pictures, keys and sound."""
