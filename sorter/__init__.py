"""The sorter: finds the sequences on a memory card, says why, and never loses a frame."""

__version__ = "0.1.0"
