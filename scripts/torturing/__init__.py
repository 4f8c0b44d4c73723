"""Kills the sorter over and over while it carries a card, and counts files; see scripts/torture."""
