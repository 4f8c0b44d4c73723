"""How many examples a costly property is held on: a third in a sample run, and with --thorough all.

They are chosen anew in every run, so that runs add up. What was found once is tried first in the next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from hypothesis import settings

SHARE: Final = 3


class Asked:
    """What the run was asked for. conftest.py says it before any test is loaded."""

    thorough = False


def examples(number: int) -> settings:
    """The settings by which a property is held on so many examples, or on a third of them."""
    from hypothesis import settings  # noqa: PLC0415  conftest.py knows this module: loaded where it is used

    return settings(max_examples=share_of(number), deadline=None)


def share_of(number: int) -> int:
    """So many, or a third of them: of what is drawn by seeds."""
    return number if Asked.thorough else -(-number // SHARE)
