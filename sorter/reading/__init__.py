"""Bytes to frames: containers, bounded directory walks, standard tags, maker notes, joining."""
