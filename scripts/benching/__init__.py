"""What scripts/bench.py measures, a module for each part that is long."""
