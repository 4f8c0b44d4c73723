"""The table's lines cut to a terminal's width: which columns there are, where notes stand. Pure."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from sorter.cli.view import Line

GAP: Final = "  "
NOTES_ALONGSIDE: Final = 34  # cells; with less, notes go on lines of their own
INDENT: Final = " " * 6
_ATTENTION: Final = f"{INDENT} look: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column: its field in a line, its heading, and when it has to go.

    goes: the higher, the sooner it has to go where the terminal is narrow; 0 always stays.
    most: cells that it may take; longer text is cut.
    """

    field: str
    heading: str
    goes: int = 0
    most: int = 40
    least: int = 0
    right: bool = False


COLUMNS: Final = (
    Column(field="number", heading="#", right=True),
    Column(field="kind", heading="kind"),
    Column(field="frames", heading="frames", right=True),
    Column(field="start", heading="start"),
    Column(field="took", heading="took", goes=3, right=True),
    Column(field="camera", heading="camera", goes=2, most=20),
    Column(field="lens", heading="lens", goes=1, most=26, least=14),
    Column(field="aperture", heading="f/"),
    Column(field="exposure", heading="exposure", goes=4),
    Column(field="focus", heading="focus"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """One line for the screen. look: heading, day, plain or note; tail is the note at its end."""

    text: str
    style: str = "plain"
    tail: str = ""


def lay_out(lines: tuple[Line, ...], width: int) -> Iterator[Printed]:
    """The table for a screen so many cells wide, with the day as a line where it changes."""
    columns, widths = _fitting(lines, width)
    beside = width - sum(widths) - len(GAP) * len(widths)
    if beside < NOTES_ALONGSIDE or not any(line.notes for line in lines):
        beside = 0
    heading = _joined([column.heading for column in columns], columns, widths)
    tail = "look at" if beside else ""
    yield Printed(text=heading if tail else heading.rstrip(), style="heading", tail=tail)
    day = ""
    for line in lines:
        if line.day != day:
            day = line.day
            yield Printed(text=day, style="day")
        yield from _printed(line, columns, widths, beside=beside, width=width)


def _fitting(lines: tuple[Line, ...], width: int) -> tuple[list[Column], list[int]]:
    """The columns that have anything to say, without those that must go, and their widths."""
    columns = [each for each in COLUMNS if any(getattr(line, each.field) for line in lines)]
    while True:
        widths = [_width(column, lines) for column in columns]
        over = sum(widths) + len(GAP) * (len(widths) - 1) - width
        room = [max(0, w - c.least) if c.least else 0 for c, w in zip(columns, widths, strict=True)]
        last = max(columns, key=lambda column: column.goes)
        if over <= sum(room) or not last.goes:
            return columns, _narrowed(widths, room, max(0, over))
        columns.remove(last)


def _narrowed(widths: list[int], room: list[int], over: int) -> list[int]:
    """The widths with so many cells taken off where there is room for it."""
    narrow = []
    for width, most in zip(widths, room, strict=True):
        less = min(most, over)
        over -= less
        narrow.append(width - less)
    return narrow


def _width(column: Column, lines: tuple[Line, ...]) -> int:
    texts = [column.heading, *(getattr(line, column.field) for line in lines)]
    return min(column.most, max(cells(text) for text in texts))


def _printed(
    line: Line, columns: list[Column], widths: list[int], *, beside: int, width: int
) -> Iterator[Printed]:
    text = _joined([getattr(line, column.field) for column in columns], columns, widths)
    notes = "; ".join(line.notes)
    if not beside:
        yield Printed(text=text.rstrip())
        yield from labelled(_ATTENTION, notes, width, style="note")
        return
    first, *rest = wrapped(notes, beside) or [""]
    yield Printed(text=text if first else text.rstrip(), tail=first)
    for note in rest:
        yield Printed(text=" " * cells(text), tail=note)


def labelled(label: str, text: str, width: int, *, style: str = "plain") -> Iterator[Printed]:
    """The text behind its label, wrapped, with its further lines beneath the first."""
    for line in wrapped(text, width - cells(label)):
        yield Printed(text=label + line, style=style)
        label = " " * cells(label)


def _joined(texts: list[str], columns: list[Column], widths: list[int]) -> str:
    padded = [
        _padded(text, width, right=column.right)
        for text, column, width in zip(texts, columns, widths, strict=True)
    ]
    return GAP.join(padded)


def _padded(text: str, width: int, *, right: bool) -> str:
    text = cut(text, width)
    space = " " * (width - cells(text))
    return space + text if right else text + space


def cut(text: str, width: int) -> str:
    """The text within so many cells; an ellipsis where some of it is gone."""
    if cells(text) <= width:
        return text
    while cells(text) > width - 1:
        text = text[:-1]
    return f"{text}…"


def wrapped(text: str, width: int) -> list[str]:
    """The text as lines of so many cells at most."""
    return textwrap.wrap(text, max(width, 1), break_on_hyphens=False)


def cells(text: str) -> int:
    """How many cells of a terminal the text takes: wide letters take two, marks upon letters none."""
    return sum(_cells(sign) for sign in text)


def _cells(sign: str) -> int:
    if unicodedata.combining(sign) or unicodedata.category(sign) == "Me":
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1
