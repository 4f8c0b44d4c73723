"""Holds what the sorter finds against the truth: boundaries, kinds, whole sequences."""
