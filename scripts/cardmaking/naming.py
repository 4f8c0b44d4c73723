"""Names on the card for the planned pictures, and the truth table about them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from cardmaking.rockpool import FRAMELESS, LAST_NUMBER, Body, Picture, Series

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

COLUMNS = (
    "source",
    "frame",
    "sequence",
    "kind",
    "position",
    "frames",
    "planned",
    "role",
    "kind_by_picture",
    "verdict",
    "missing_end",
    "dark",
    "focus",
    "about",
)
ROLES = {"CR3": "raw", "ORF": "raw", "JPG": "image", "MP4": "clip", "THM": "thumbnail"}
MISC = {
    "MISC/AUTPRINT.MRK": b'[HDR]\r\nGEN REV = 01.10\r\nGEN CRT = "DEMO CARD"\r\n',
    "MISC/LENSDATA.BIN": bytes(range(256)) * 2,
}
"""Files on the card that are no pictures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """One picture with its folder, stem (such as ``IMG_9800``) and files."""

    series: int
    position: int
    picture: Picture
    folder: str
    stem: str
    files: tuple[tuple[str, str], ...]
    """Path below the card and role of each file."""


def named(shoot: Sequence[Series]) -> list[list[Named]]:
    """The pictures of each series with their names, counted through for each body."""
    counters: dict[str, int] = {}
    out = []
    for index, series in enumerate(shoot):
        first = series.body.first_number
        start = first_number(shoot, series.body) if first is None else first
        pictures = []
        for position, picture in enumerate(series.pictures, start=1):
            count = start - 1 + counters.get(series.body.name, 0)
            counters[series.body.name] = counters.get(series.body.name, 0) + 1
            pictures.append(_named(index, series, position, picture, count))
        out.append(pictures)
    return out


def first_number(shoot: Sequence[Series], body: Body) -> int:
    """The file number of the body's first picture, so that the counter's end falls as planned."""
    before = 0
    for series in shoot:
        if series.body is body:
            if series.rollover_at is not None:
                return LAST_NUMBER + 2 - before - series.rollover_at
            before += len(series.pictures)
    message = f"no series of {body.name} runs over the counter's end"
    raise ValueError(message)


def _named(index: int, series: Series, position: int, picture: Picture, count: int) -> Named:
    folder = f"DCIM/{100 + count // LAST_NUMBER}{series.body.folder}"
    prefix = "MVI_" if series.kind == "clip" else series.body.prefix
    stem = f"{prefix}{count % LAST_NUMBER + 1:04d}"
    files = [(f"{folder}/{stem}.{suffix}", ROLES[suffix]) for suffix in series.suffixes]
    if position in series.sidecars:
        tail = ".xmp" if series.sidecars[position] == "short" else ".CR3.xmp"
        files.append((f"{folder}/{stem}{tail}", "sidecar"))
    return Named(
        series=index,
        position=position,
        picture=picture,
        folder=folder,
        stem=stem,
        files=tuple(files),
    )


def clock(picture: Picture) -> tuple[datetime, Fraction]:
    """The capture time as the camera wrote it: whole seconds, then the fraction (0 if none)."""
    shown = picture.shot.captured
    if shown is None:
        message = "a picture of the demo shoot has no time"
        raise ValueError(message)
    digits = picture.shot.subsec
    return shown, Fraction(int(digits), 10 ** len(digits)) if digits else Fraction(0)


def truth(shoot: Sequence[Series], names: Sequence[Sequence[Named]]) -> list[dict[str, str]]:
    """The rows of the truth table: one for each file, frames first and in order of capture."""
    framed = [
        one
        for series, many in zip(shoot, names, strict=True)
        for one in many
        if series.kind not in FRAMELESS
    ]
    # sorted() is stable: equal times keep the order of the counter.
    framed.sort(key=lambda one: clock(one.picture))
    sequences = _numbers([one.series for one in framed])
    rows = [
        row
        for frame, one in enumerate(framed, start=1)
        for row in _frame_rows(shoot[one.series], one, frame, sequences[one.series])
    ]
    return [*rows, *_other_rows(shoot, names)]


def _numbers(keys: Sequence[int]) -> dict[int, int]:
    """A running number from 1 for each key, by first appearance."""
    return {key: number for number, key in enumerate(dict.fromkeys(keys), start=1)}


def _frame_rows(series: Series, one: Named, frame: int, sequence: int) -> Iterator[dict[str, str]]:
    abouts = [series.about, one.picture.about]
    for source, role in one.files:
        cut = series.cut == one.position and role == "image"
        known = [*abouts, "JPEG written only by half" if cut else ""]
        yield _row(
            source=source,
            frame=str(frame),
            sequence=str(sequence),
            kind=series.kind,
            position=str(one.position),
            frames=str(len(series.pictures)),
            planned="" if series.planned is None else str(series.planned),
            role=role,
            kind_by_picture="marker" if one.picture.look == "cap" else "",
            verdict=series.verdict,
            missing_end=series.missing_end,
            dark="" if one.picture.look == "plain" else "1",
            focus=f"{one.picture.focus:.4f}",
            about="; ".join(text for text in known if text),
        )


def _other_rows(
    shoot: Sequence[Series], names: Sequence[Sequence[Named]]
) -> Iterator[dict[str, str]]:
    for series, many in zip(shoot, names, strict=True):
        if series.kind in FRAMELESS:
            for source, role in many[0].files:
                yield _row(source=source, kind=series.kind, role=role, about=series.about)
    for source in MISC:
        yield _row(source=source, kind="other", role="other", about="the camera's own housekeeping")


def _row(**values: str) -> dict[str, str]:
    return {column: values.get(column, "") for column in COLUMNS}
