"""What a user may set: frozen settings out of a TOML file and the command line's options.

The file is `sorter.toml` in the user's own configuration folder, or the one named by an option,
which then stands in its place. What an option says goes before what the file says.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Final

from sorter.errors import BadSettings, nearest
from sorter.model.knobs import GroupingKnobs
from sorter.model.measurement import MOST_PIXELS
from sorter.model.quoting import quoted, shortened

FILE_NAME: Final = "sorter.toml"
MEGA: Final = 1_000_000
MOST_MEGAPIXELS: Final = MOST_PIXELS // MEGA
LIMIT_MEGAPIXELS: Final = 1000
"""What most_megapixels may be at most: no decoder of ours takes more pixels."""
LONGEST_SHIFT_S: Final = 100 * 366 * 86_400  # a clock that was never set is decades off, not more

MOST_BYTES: Final = 32_000
"""Of a settings file. Reading TOML takes a time that grows as the square of what a line can hold."""

_COUNT: Final = r"(\d{1,15})"  # Python makes no number of thousands of digits
_SHIFT: Final = re.compile(
    rf"([+-]?)(?:{_COUNT}d)?(?:{_COUNT}h)?(?:{_COUNT}m)?(?:{_COUNT}s?)?", re.ASCII
)
_SECONDS: Final = (86_400, 3_600, 60, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What one run goes by.

    clock: seconds to add to a body's times, by its serial (or its model, where it tells no serial).
    clock_asked: the bodies that were named for this very run; each must be on the card. The file
    may name bodies that are not. most_megapixels: a picture of more is named, and not decoded.
    """

    clock: Mapping[str, int] = field(default_factory=dict)
    clock_asked: frozenset[str] = frozenset()
    grouping: GroupingKnobs = field(default_factory=GroupingKnobs)
    most_megapixels: int = MOST_MEGAPIXELS

    @property
    def most_pixels(self) -> int:
        """Pixels of a picture that is looked at, at most."""
        return self.most_megapixels * MEGA


def load_settings(
    file: Path | None, clock: Iterable[str] = (), grouping: Mapping[str, str] | None = None
) -> Settings:
    """The settings of the file with the options laid over them.

    file: None stands for the user's own file, which need not exist; a file that is named must.
    clock: `SERIAL=SHIFT`. grouping: what was given for knobs, by their names in GroupingKnobs.
    Raises BadSettings with the file, what is wrong in it, and the nearest right name.
    """
    kept = _read(file) if file else _read_own()
    asked = _parse_clocks(clock)
    knobs = {name: parse_knob(name, text) for name, text in (grouping or {}).items()}
    return Settings(
        clock={**kept.clock, **asked},
        clock_asked=frozenset(asked),
        most_megapixels=kept.most_megapixels,
        grouping=replace(kept.grouping, **knobs),
    )


def with_most_megapixels(settings: Settings, number: int | None) -> Settings:
    """The settings with what an option said of it; None where it was not given. Raises BadSettings."""
    if number is None:
        return settings
    if not 1 <= number <= LIMIT_MEGAPIXELS:
        raise BadSettings(f"--most-megapixels is a whole number from 1 to {LIMIT_MEGAPIXELS}.")
    return replace(settings, most_megapixels=number)


def option_of(knob: str) -> str:
    """The command line's option for a knob: the units stand in its help, not in its name."""
    return "--" + knob.removesuffix("_s").replace("_", "-")


def parse_knob(knob: str, text: str) -> float:
    """The number that an option gives to a knob. Raises BadSettings where it is none."""
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not _is_for_a_knob(number):
        what = "seconds" if knob.endswith("_s") else "a margin"
        raise BadSettings(
            f"{option_of(knob)} {quoted(text)} is not understood. Write {what}, zero or more: "
            f"{option_of(knob)} {getattr(GroupingKnobs(), knob):g} is the default."
        )
    return number


def _is_for_a_knob(number: float) -> bool:
    return math.isfinite(number) and number >= 0


def parse_clock(text: str) -> tuple[str, int]:
    """The body and the seconds to add to its times, out of `SERIAL=+1h4m` and the like.

    Raises BadSettings where it is no such text.
    """
    body, equals, shift = text.rpartition("=")
    seconds = parse_shift(shift)
    if not equals or not body.strip() or seconds is None:
        raise BadSettings(
            f"--clock {quoted(text)} is not understood. Write the body's serial, =, and what to add to "
            "its times: 0417=+4m, 0417=-90s or 0417=+1h4m."
        )
    return body.strip(), seconds


def parse_shift(text: str) -> int | None:
    """Seconds out of `+4m`, `-90s`, `+1h4m`, `2d` or plain seconds; None where it is none."""
    match = _SHIFT.fullmatch(text.strip())
    if match is None or not any(match.groups()[1:]):
        return None
    parts = zip(match.groups()[1:], _SECONDS, strict=True)
    seconds = sum(int(count or 0) * unit for count, unit in parts)
    if seconds > LONGEST_SHIFT_S:
        return None
    return -seconds if match[1] == "-" else seconds


def _parse_clocks(texts: Iterable[str]) -> dict[str, int]:
    clocks: dict[str, int] = {}
    for text in texts:
        body, seconds = parse_clock(text)
        if clocks.get(body, seconds) != seconds:
            raise BadSettings(
                f"--clock names {quoted(body)} twice with different times. Give it once."
            )
        clocks[body] = seconds
    return clocks


def _read_own() -> Settings:
    # Imported here: most runs of the program (help, version) need no settings.
    from platformdirs import user_config_path  # noqa: PLC0415

    file = user_config_path("sorter", appauthor=False) / FILE_NAME
    return _read(file) if _is_there(file) else Settings()


def _is_there(file: Path) -> bool:
    """Whether the file can be seen: a home that is closed to us holds no settings of ours."""
    try:
        return file.exists()
    except OSError:
        return False


def _read(file: Path) -> Settings:
    tables = _tables(file)
    _refuse_unknown(file, "table", tables, ("clock", "grouping", "pictures"))
    return Settings(
        clock=_clock_table(file, _table(file, tables, "clock")),
        grouping=_grouping_table(file, _table(file, tables, "grouping")),
        most_megapixels=_most_megapixels(file, _table(file, tables, "pictures")),
    )


def _tables(file: Path) -> Mapping[str, object]:
    # Imported here: most runs of the program (help, version) read nothing.
    from sorter.disk.given import read_given  # noqa: PLC0415

    try:
        return tomllib.loads(read_given(file, MOST_BYTES).decode("utf-8-sig"))
    except OSError as error:
        raise BadSettings(f"{file}: the settings cannot be read ({error.strerror}).") from error
    except RecursionError as error:
        raise _no_toml(file, "it is nested too deep") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _no_toml(file, str(error)) from error
    except ValueError as error:  # Python's own words are about how Python is set up
        raise _no_toml(file, "a whole number in it has too many digits") from error


def _no_toml(file: Path, why: str) -> BadSettings:
    return BadSettings(f"{file}: this is no TOML that can be read ({why}).")


def _table(file: Path, tables: Mapping[str, object], name: str) -> Mapping[str, object]:
    table = tables.get(name, {})
    if not isinstance(table, dict):
        raise BadSettings(f"{file}: {name} is a table; write [{name}] on a line of its own.")
    return table


def _clock_table(file: Path, table: Mapping[str, object]) -> dict[str, int]:
    return {body.strip(): _file_shift(file, body, value) for body, value in table.items()}


def _file_shift(file: Path, body: str, value: object) -> int:
    seconds = parse_shift(_written(value))
    if seconds is None:
        raise BadSettings(
            f"{file}: in [clock], {shortened(body)} = {quoted(value)} is no shift. Write seconds, or text such as "
            '"+4m", "-90s" or "+1h4m".'
        )
    return seconds


def _written(value: object) -> str:
    """A shift as it may be written; empty for what is none."""
    if type(value) is int:
        return str(value) if abs(value) <= LONGEST_SHIFT_S else ""
    return value if isinstance(value, str) else ""


def _grouping_table(file: Path, table: Mapping[str, object]) -> GroupingKnobs:
    _refuse_unknown(file, "key in [grouping]", table, [knob.name for knob in fields(GroupingKnobs)])
    return GroupingKnobs(**{name: _number(file, name, value) for name, value in table.items()})


def _most_megapixels(file: Path, table: Mapping[str, object]) -> int:
    _refuse_unknown(file, "key in [pictures]", table, ("most_megapixels",))
    value = table.get("most_megapixels", MOST_MEGAPIXELS)
    if type(value) is not int or not 1 <= value <= LIMIT_MEGAPIXELS:
        raise BadSettings(
            f"{file}: in [pictures], most_megapixels is a whole number from 1 to {LIMIT_MEGAPIXELS}, not "
            f"{quoted(value)}."
        )
    return value


def _number(file: Path, name: str, value: object) -> float:
    if type(value) is not int and type(value) is not float:
        raise BadSettings(f"{file}: in [grouping], {name} is a number, not {quoted(value)}.")
    try:
        number = float(value)
    except OverflowError:  # a whole number of hundreds of digits
        number = math.inf
    if not _is_for_a_knob(number):
        raise BadSettings(f"{file}: in [grouping], {name} is zero or more, not {quoted(value)}.")
    return number


def _refuse_unknown(file: Path, what: str, given: Iterable[str], known: Iterable[str]) -> None:
    known = list(known)
    for name in given:
        if name not in known:
            raise BadSettings(
                f"{file}: there is no {what} called {quoted(name)}. {nearest(name, known)}"
            )
