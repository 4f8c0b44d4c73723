"""Kills the sorter over and over while it carries a card, spoils copies, counts files; see scripts/torture."""
