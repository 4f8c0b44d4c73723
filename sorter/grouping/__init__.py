"""Frames to sequences: evidence, the best account, and the reasons. Pure."""
