"""From a plan to files that are where they belong: copied, verified, placed, noted, taken back."""
