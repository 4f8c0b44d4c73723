"""What the pictures say of sequences: measurements in, findings out. Pure; one rule a function."""
