"""What calls take as options, as the command line's long options have it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeAlias

from sorter.api.paths import StrPath, optional_path
from sorter.manifest.corrections import read_corrections
from sorter.model.correction import Correction
from sorter.planning.pattern import DEFAULT as DEFAULT_FOLDER
from sorter.settings import Settings, load_settings, with_most_megapixels

Corrections: TypeAlias = StrPath | Iterable[Correction]
"""A corrections file, or what would stand in it."""
Clock: TypeAlias = str | Iterable[str]
"""SERIAL=SHIFT, as the option has it, or several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """The options that are settings. settings: a TOML file, or the settings themselves."""

    settings: StrPath | Settings | None = None
    clock: Clock = ()
    hand_pause: float | None = None
    apart: float | None = None
    unsure_below: float | None = None
    most_megapixels: int | None = None

    def loaded(self) -> Settings:
        """The settings; what an option says goes before what the file says. Raises BadSettings."""
        return with_most_megapixels(self._loaded(), self.most_megapixels)

    def _loaded(self) -> Settings:
        if isinstance(self.settings, Settings):
            return self.settings
        clock = (self.clock,) if isinstance(self.clock, str) else tuple(self.clock)
        return load_settings(optional_path(self.settings), clock, self._knobs())

    def _knobs(self) -> Mapping[str, str]:
        known = {
            "hand_pause_s": self.hand_pause,
            "apart_s": self.apart,
            "unsure_below": self.unsure_below,
        }
        return {name: repr(value) for name, value in known.items() if value is not None}


def corrections_of(given: Corrections | None) -> tuple[Correction, ...]:
    """What the file says, or what was given, with the lines that it would have in a file. Raises BadCorrections."""
    if given is None:
        return ()
    if isinstance(given, str | os.PathLike):
        return read_corrections(Path(given))
    return tuple(
        each if each.line else replace(each, line=line) for line, each in enumerate(given, 2)
    )


def folder_of(pattern: str | None) -> str:
    """The pattern of folder names; the usual one for None."""
    return DEFAULT_FOLDER if pattern is None else pattern
