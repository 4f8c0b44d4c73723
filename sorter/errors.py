"""Every error that ends a run, each with the exit code of the contract.

What cannot be read is data (a note on a file), never one of these.
"""

from __future__ import annotations

import re
from typing import ClassVar


class SorterError(Exception):
    """A run ends with one clear sentence and this exit code.

    code: what it is, for programs: a word that stays when the sentence changes.
    """

    exit_code: ClassVar[int] = 2
    code: ClassVar[str] = "sorter-error"

    def __init_subclass__(cls) -> None:
        """The code is the class's name in small letters, hyphens between its words."""
        cls.code = re.sub(r"(?<=[a-z])(?=[A-Z])", "-", cls.__name__).lower()


def nearest(name: str, known: list[str]) -> str:
    """A sentence that helps whoever wrote the name: the nearest known one, else all of them."""
    from difflib import get_close_matches  # noqa: PLC0415  only on the way to an error

    near = get_close_matches(name, known, n=1)
    return f"Did you mean {near[0]!r}?" if near else f"There are: {', '.join(known)}."


class CardNotFound(SorterError):
    """The card's folder is not there, or is no folder."""


class CardNotReadable(SorterError):
    """The system does not let us list the card's folder."""


class CardEmpty(SorterError):
    """The folder holds no file of a card."""


class CardIsShoot(SorterError):
    """The folder that was given as a card is a shoot, or lies in one."""


class OutputNotWritable(SorterError):
    """A file that the user asked for cannot be written where they asked."""


class BadSettings(SorterError):
    """The settings file, or an option, says something that we do not understand."""


class BadCorrections(SorterError):
    """The corrections file does not fit its form or this card."""


class NoShoot(SorterError):
    """The folder is no shoot: no card was ingested to it."""


class BadChoice(SorterError):
    """What was chosen of a shoot, or where it is to go, does not fit that shoot."""


class AnswerLost(SorterError):
    """What stdout leads to takes no more: a full disk, most likely."""

    exit_code: ClassVar[int] = 3


class CardGone(SorterError):
    """The card went away while it was read; nothing was lost."""

    exit_code: ClassVar[int] = 3


class CardNotWritable(SorterError):
    """The card's disk refused a write in the middle of the work; nothing was lost."""

    exit_code: ClassVar[int] = 3


class NoCard(SorterError):
    """The folder is no card: it is a shoot, lies in one, or holds the one that is worked on."""


class BadPattern(SorterError):
    """The pattern for folder names cannot be filled in."""


class BadShoot(SorterError):
    """The folder cannot be a shoot, or is none."""


class BadBackup(SorterError):
    """The folder cannot hold the second copy of this shoot."""


class ShootBusy(SorterError):
    """Another run is at work in this shoot."""

    exit_code: ClassVar[int] = 3


class LedgerDamaged(SorterError):
    """The ledger is there and cannot be read."""


class WorkersGone(SorterError):
    """A process that did a part of the work was ended from outside."""

    exit_code: ClassVar[int] = 3


class ShootNotWritable(SorterError):
    """The shoot's disk refused a write in the middle of the work; nothing was lost."""

    exit_code: ClassVar[int] = 3


class NoRoom(SorterError):
    """There is not enough free space for what is to be written."""

    exit_code: ClassVar[int] = 3


class PlanOutdated(SorterError):
    """Card or shoot are not any more what the plan was made from."""


class NotAgreed(SorterError):
    """The user was asked and did not agree, or could not be asked."""


class NothingToUndo(SorterError):
    """The shoot holds no ingest that could be taken back."""


class OnlyCopies(SorterError):
    """Undo would remove files that are on the card no more."""


class Cancelled(SorterError):
    """Whoever called for the work took it back; nothing was lost, and the same call goes on."""

    exit_code: ClassVar[int] = 3
