"""Runs the command line as `python -m sorter`."""

from sorter.cli import run

if __name__ == "__main__":
    run()
