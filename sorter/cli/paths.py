"""Paths as arguments."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click


class GivenPath(click.Path):
    """A path that was truly given: an empty text would be the folder that one happens to be in.

    Scripts hand over an empty text where a variable of theirs was never set. And a path that begins where
    one is says nothing once that folder is gone, as on a card that was taken out.
    """

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(
        self,
        value: Any,  # noqa: ANN401  click's own signature
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Any:  # noqa: ANN401  see above
        """The path; ends the run where it is empty, or begins in a folder that is gone."""
        if value == "":
            self.fail("the path is empty.", param, ctx)
        if not Path(value).is_absolute() and not _is_here():
            self.fail(
                f"{value}: the folder that you are in is gone. Change to another.", param, ctx
            )
        return super().convert(value, param, ctx)


def _is_here() -> bool:
    """Whether the folder that one is in is still there."""
    try:
        Path.cwd()
    except OSError:
        return False
    return True
