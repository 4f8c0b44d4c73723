"""Puts the demo shoot on disk: draws the pictures, writes the files, sets their times."""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import timedelta, timezone
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from cardmaking import containers, draw, naming, pictures, rockpool
from cardmaking.clearing import RefusedError, clear, folders
from cardmaking.placing import as_csv, put, set_time
from cardmaking.shots import Shot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from PIL.Image import Image

    from cardmaking.naming import Named
    from cardmaking.rockpool import Picture, Series

NO_SHOT = Shot(make="", model="", captured=None)
ZONE = timezone(timedelta(hours=1))
PREVIEW_WIDTH, PREVIEW_QUALITY = 1620, 52
IMAGE_WIDTH, IMAGE_QUALITY = 960, 55
RAW_SIZE = 8192
CLIP_PICTURES = 12
BOTH = 13
MOST_WORKERS = 4

APPLE_DOUBLE = (
    bytes.fromhex("00051607 00020000")
    + b"Mac OS X        "
    + bytes.fromhex("0001")
    + bytes.fromhex("00000009 00000026 00000020")
    + b"\0" * 32
)
"""What a Mac leaves beside a file on a card: a header and an empty record for its file manager."""


# ---- pictures -------------------------------------------------------------------------------


def drawn(scene: draw.Scene, picture: Picture, seed: int) -> Image:
    """The planned picture, in full size."""
    if picture.look == "cap":
        return draw.capped(seed)
    image = draw.picture(
        scene,
        picture.focus,
        blur=picture.blur,
        ev=picture.ev,
        shift=picture.shift,
        growth=picture.growth,
        wind=picture.wind,
        seed=seed,
    )
    if picture.splash is not None:
        image = draw.with_splash(image, seed, picture.splash)
    return draw.misfired(image) if picture.look == "misfire" else image


def contents(series: Series, one: Named) -> dict[str, bytes]:
    """The bytes of each of the picture's files, by path below the card."""
    if series.kind == "unreadable":
        return {source: b"" for source, _ in one.files}
    preview, small = pictures.encoded(*_recipe(series, one), make=lambda: _encoded(series, one))
    return {
        source: _file(series, one, Path(source).suffix, preview, small) for source, _ in one.files
    }


def _recipe(series: Series, one: Named) -> tuple[object, ...]:
    """All that decides what is drawn."""
    picture = replace(one.picture, shot=NO_SHOT, taken=rockpool.DAY, about="")
    sizes = (PREVIEW_WIDTH, PREVIEW_QUALITY, IMAGE_WIDTH, IMAGE_QUALITY)
    return series.subject, series.seed, _seed(one), picture, sizes


def _seed(one: Named) -> int:
    return one.series * 1000 + one.position


def _encoded(series: Series, one: Named) -> tuple[bytes, bytes]:
    """The picture as a preview of a raw, and as the camera's own JPEG."""
    image = drawn(_scene(series.subject, series.seed), one.picture, _seed(one))
    return (
        draw.encoded(image, PREVIEW_WIDTH, PREVIEW_QUALITY),
        draw.encoded(image, IMAGE_WIDTH, IMAGE_QUALITY),
    )


@lru_cache(maxsize=1)
def _scene(subject: draw.Subject, seed: int) -> draw.Scene:
    return draw.scene(subject, seed)


def _file(series: Series, one: Named, suffix: str, preview: bytes, small: bytes) -> bytes:
    shot = one.picture.shot
    match suffix:
        case ".CR3":
            thumb = containers.thumbnail(small)
            recorded = BOTH if "JPG" in series.suffixes else containers.CR3_ONLY
            return containers.cr3(shot, preview, thumb, small, RAW_SIZE, recorded=recorded)
        case ".ORF":
            return containers.orf(shot, small, RAW_SIZE)
        case ".MP4":
            shown = [containers.thumbnail(small, (480, 320))] * CLIP_PICTURES
            return containers.mp4(shown, shot.captured)
        case ".THM":
            return containers.jpeg(shot, containers.thumbnail(small))
        case ".xmp":
            return containers.xmp_sidecar(shot, rating=3, label="Rock pool")
        case _:
            return _image(series, one, small)


def _image(series: Series, one: Named, small: bytes) -> bytes:
    if series.kind == "undated":
        return small
    recorded = BOTH if "CR3" in series.suffixes else 1
    whole = containers.jpeg(one.picture.shot, small, recorded=recorded)
    return whole[: len(whole) // 2] if series.cut == one.position else whole


# ---- writing --------------------------------------------------------------------------------


def write_series(card: Path, series: Series, names: Sequence[Named]) -> int:
    """Writes all files of one series and returns how many bytes they have."""
    total = 0
    for one in names:
        for source, data in contents(series, one).items():
            put(card / source, data, one.picture.taken, ZONE)
            total += len(data)
    return total


def system_files(names: Sequence[Sequence[Named]]) -> dict[str, bytes]:
    """What computers left on the card: it is no file of the shoot and has no row in the truth."""
    raws = [one for many in names for one in many if one.files[0][0].endswith(".CR3")]
    out = {f"{one.folder}/._{one.stem}.CR3": APPLE_DOUBLE for one in raws[:3] + raws[-2:]}
    out[".Trashes/501/IMG_0412.JPG"] = b"\xff\xd8\xff\xe0 thrown away"
    out[".Trashes/._501"] = APPLE_DOUBLE
    return out


def make_card(card: Path, truth: Path) -> tuple[int, int]:
    """Writes the card and the truth table; returns the numbers of files and of bytes.

    Raises RefusedError, with nothing written, where the folder is not empty and not this script's
    own work.
    """
    shoot = rockpool.shoot()
    names = naming.named(shoot)
    rows = naming.truth(shoot, names)
    left = system_files(names)
    clear(card, truth, {row["source"] for row in rows} | set(left), naming.COLUMNS)
    total = _write_all(card, shoot, names)
    for source, data in {**naming.MISC, **left}.items():
        put(card / source, data, rockpool.DAY, ZONE)
        total += len(data)
    for folder in folders(card):
        set_time(folder, rockpool.DAY, ZONE)
    truth.parent.mkdir(parents=True, exist_ok=True)
    truth.write_bytes(as_csv(rows, naming.COLUMNS))
    pictures.tidy()
    return len(rows) + len(left), total


def _write_all(card: Path, shoot: Sequence[Series], names: Sequence[Sequence[Named]]) -> int:
    total = 0
    with ProcessPoolExecutor(min(MOST_WORKERS, os.cpu_count() or 1)) as workers:
        jobs = {
            scene: workers.submit(write_scene, card, of_one)
            for scene, of_one in _by_scene(shoot, names).items()
        }
        for series, many in zip(shoot, names, strict=True):
            total += jobs[_scene_of(series)].result()[many[0].series]
            sys.stdout.write(told(series, many) + "\n")
            sys.stdout.flush()
    return total


def _scene_of(series: Series) -> tuple[str, int]:
    return series.subject, series.seed


def _by_scene(
    shoot: Sequence[Series], names: Sequence[Sequence[Named]]
) -> dict[tuple[str, int], list[tuple[Series, Sequence[Named]]]]:
    """The series of each scene, which is painted once for all of them; the longest first."""
    found: dict[tuple[str, int], list[tuple[Series, Sequence[Named]]]] = {}
    for series, many in zip(shoot, names, strict=True):
        found.setdefault(_scene_of(series), []).append((series, many))
    pictures_of = {scene: sum(len(many) for _, many in each) for scene, each in found.items()}
    return dict(sorted(found.items(), key=lambda each: -pictures_of[each[0]]))


def write_scene(card: Path, every: Sequence[tuple[Series, Sequence[Named]]]) -> dict[int, int]:
    """Writes all series of one scene; the bytes of each by the series' number."""
    return {many[0].series: write_series(card, series, many) for series, many in every}


def told(series: Series, names: Sequence[Named]) -> str:
    """One line on a series: time by the right clock, first and last name, frames, what it is."""
    first, last = names[0], names[-1]
    span = first.stem if first is last else f"{first.stem} to {last.stem}"
    return f"{first.picture.taken:%H:%M:%S}  {span:22}  {len(names):3}  {series.about}"


# ---- command --------------------------------------------------------------------------------

ABOUT = """\
Makes a memory card to try the sorter on: a shoot at a rock pool at low tide, with about 330
frames of two bodies. It holds focus brackets (whole, back to back, retaken, stopped, over the
counter's end), stacks turned by hand, exposure brackets, bursts, an interval series, singles, a
clip, and what goes wrong on a card. Beside the card a table tells what each file truly is.
Every run makes the same bytes."""

EXAMPLE = """\
example:
  .venv/bin/python scripts/make_demo_card demo/card
      writes the card to demo/card and the table to demo/card-truth.csv"""


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="make_demo_card",
        description=ABOUT,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        nargs="?",
        type=Path,
        default=Path("demo/card"),
        help="where the card goes: new, empty, or made by this script (default: demo/card)",
    )
    parser.add_argument(
        "--truth",
        metavar="FILE",
        type=Path,
        help="where the table goes (default: FOLDER-truth.csv, beside the card)",
    )
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command: 0 done, 2 refused with nothing written."""
    options = _parser().parse_args(arguments)
    card: Path = options.folder
    truth: Path = options.truth or card.with_name(f"{card.name}-truth.csv")
    try:
        files, size = make_card(card, truth)
    except RefusedError as error:
        sys.stderr.write(f"make_demo_card: {error}\n")
        return 2
    sys.stdout.write(f"{files} files, {size / 1e6:.1f} MB in {card}; the truth is in {truth}\n")
    return 0
