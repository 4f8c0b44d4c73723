"""checks.csv: what the findings say of a shoot's sequences, as far as a hand-off asks for it."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Final

from sorter.errors import BadChoice

CHECKS: Final = "checks.csv"
_NUMBER: Final = "sequence"
_BEST: Final = "best_frames"


def read_best(path: Path) -> dict[int, tuple[int, ...]]:
    """The positions of each sequence's best frames, the best first; without those that have none.

    Raises BadChoice where there is no such file, or it has not this form.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = csv.DictReader(file)
            return {int(row[_NUMBER]): _positions(row[_BEST]) for row in rows if row[_BEST]}
    except FileNotFoundError as error:
        raise BadChoice(
            f"--best: {path} is not there, and nothing else says which frames are the best. Leave "
            "out --best to hand all frames over."
        ) from error
    except OSError as error:
        raise BadChoice(f"--best: {path} cannot be read ({error.strerror}).") from error
    except (KeyError, TypeError, ValueError) as error:
        raise BadChoice(
            f"--best: {path} is no table of findings: it has to have the columns {_NUMBER} and "
            f"{_BEST}, with positions such as 4;2;7."
        ) from error


def _positions(text: str) -> tuple[int, ...]:
    return tuple(int(position) for position in text.split(";"))
