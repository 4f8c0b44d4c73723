"""Every error that ends a run, each with the exit code of the contract.

What cannot be read is data (a note on a file), never one of these.
"""

from __future__ import annotations

from typing import ClassVar


class SorterError(Exception):
    """A run ends with one clear sentence and this exit code."""

    exit_code: ClassVar[int] = 2


class CardNotFound(SorterError):
    """The card's folder is not there, or is no folder."""


class CardNotReadable(SorterError):
    """The system does not let us list the card's folder."""


class CardEmpty(SorterError):
    """The folder holds no file of a card."""


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


class NoRoom(SorterError):
    """The disk that is written to is full; nothing was lost, and the next run goes on."""

    exit_code: ClassVar[int] = 3
