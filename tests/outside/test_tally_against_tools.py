"""A tally of real shoots against exiftool, the file system and a count with csv and collections.

The shoots: the demo card, and a small card of a burst and lone frames, each carried as it is.
"""

from __future__ import annotations

import csv
import io
import os
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import pytest

from manifest.recount import frames_per_stack, recount
from manifest.seasons import counters
from outside.by_exiftool import raw
from sorter.manifest.tallies import MEASURES, tally_bytes
from sorter.model.tally import Tally
from sorter.pipeline import tally
from writing.cards import ingest, tide_card

TAKEN = "ExifIFD:DateTimeOriginal"


@pytest.fixture(scope="module")
def tide_shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("tides")
    ingest(tide_card(place / "card"), place / "tides")
    return place / "tides"


def tallied(*shoots: Path) -> Tally:
    return tally(shoots, lambda *_: None)


def on_the_disk(shoot: Path) -> dict[str, int]:
    """Size by path of what the cards brought: os.stat of every file but the shoot's own records."""
    own = {"manifest.csv", "SHA256SUMS"}
    return {
        path.relative_to(shoot).as_posix(): os.stat(path).st_size  # noqa: PTH116  the system's own word
        for path in shoot.rglob("*")
        if path.is_file() and ".sorter" not in path.parts and path.name not in own
    }


def frames_by_hour(shoot: Path) -> Counter[str]:
    """What exiftool reads as DateTimeOriginal of every file, one a frame: its hour.

    Files of a frame share their name and the folder of their card, so one of each name counts.
    """
    hours: dict[tuple[str, str], str] = {}
    for row in cells_of(shoot):
        tags = raw(shoot).get(row["destination"], {})
        if row["frame"] and row["position"] and TAKEN in tags:
            stem, _, _ = row["source"].rpartition(".")
            hours[row["serial"], stem] = tags[TAKEN][11:13]
    return Counter(hours.values())


def cells_of(shoot: Path) -> Iterable[dict[str, str]]:
    text = (shoot / "manifest.csv").read_bytes().decode()
    return csv.DictReader(io.StringIO(text, newline=""))


# ---- bytes: os.stat -----------------------------------------------------------------------------


def test_bytes_and_files_are_what_lies_on_the_disk(demo_shoot: Path, tide_shoot: Path) -> None:
    outcome = tallied(demo_shoot, tide_shoot)
    sizes = [on_the_disk(demo_shoot), on_the_disk(tide_shoot)]
    for each, size in zip(outcome.shoots, sizes, strict=True):
        assert (each.total.counts.files, each.total.counts.bytes) == (len(size), sum(size.values()))
    whole = outcome.together.total.counts
    assert whole.bytes == sum(sum(size.values()) for size in sizes)


def test_the_bytes_of_stacks_are_those_of_their_folders(demo_shoot: Path) -> None:
    sizes = on_the_disk(demo_shoot)
    of_stacks = sum(
        size
        for path, size in sizes.items()
        if "_focus-bracket_" in path.partition("/")[0] or "_manual-stack_" in path.partition("/")[0]
    )
    counts = tallied(demo_shoot).together.total.counts
    assert of_stacks > 0
    assert counts.archivable_bytes + counts.waiting_bytes == of_stacks


# ---- hours: exiftool ----------------------------------------------------------------------------


def test_hours_are_those_of_date_time_original(demo_shoot: Path, tide_shoot: Path) -> None:
    for shoot in (demo_shoot, tide_shoot):
        (each,) = tallied(shoot).shoots
        found = Counter({group.key: group.counts.frames for group in each.hours if group.key})
        assert found == frames_by_hour(shoot)
        assert found.total() == each.total.counts.frames > 5


def test_a_day_lasts_from_the_first_to_the_last_date_time_original(demo_shoot: Path) -> None:
    stamps = sorted(
        raw(demo_shoot)[row["destination"]][TAKEN].replace(":", "-", 2).replace(" ", "T")
        for row in cells_of(demo_shoot)
        if row["position"] and TAKEN in raw(demo_shoot).get(row["destination"], {})
    )
    (day,) = [each for each in tallied(demo_shoot).together.days if each.key]
    assert (day.first, day.last) == (stamps[0][:19], stamps[-1][:19])


# ---- everything: csv and collections ------------------------------------------------------------


def test_all_tables_are_what_csv_and_collections_count_in_the_manifest(
    demo_shoot: Path, tide_shoot: Path
) -> None:
    outcome = tallied(demo_shoot, tide_shoot)
    for each, shoot in zip(outcome.shoots, (demo_shoot, tide_shoot), strict=True):
        manifest = (shoot / "manifest.csv").read_bytes()
        assert counters(each) == recount(manifest)
        spread = {
            str(one.kind or ""): (one.stacks, one.least, one.median, one.most)
            for one in each.stacks
            if one.stacks
        }
        assert spread == frames_per_stack(manifest)


def test_the_file_of_two_shoots_is_the_files_of_both(demo_shoot: Path, tide_shoot: Path) -> None:
    one, two, both = (
        list(csv.reader(io.StringIO(tally_bytes(each).decode(), newline="")))
        for each in (tallied(demo_shoot), tallied(tide_shoot), tallied(demo_shoot, tide_shoot))
    )
    assert both[:-1] == [*one[:-1], *two[1:-1]]
    place = slice(5, 5 + len(MEASURES))
    sums = [int(a) + int(b) for a, b in zip(one[-1][place], two[-1][place], strict=True)]
    assert list(map(int, both[-1][place])) == sums
