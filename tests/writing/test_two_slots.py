"""A body with two slots: raws on one card, JPEGs on the other, ingested one after the other.

That bodies can write so, and that both files have one number and one time, is common practice, no
source; names by CIPA DC-009 (DCF).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import piexif
import pytest

from sorter.model.correction import Correction
from sorter.model.kinds import Kind
from sorter.model.row import Row
from sorter.pipeline import Ingest, IngestOptions
from writing.cards import (
    LIMPETS,
    QUIET,
    by_source,
    contents,
    destinations,
    found,
    hold_consistent,
    ingest,
    picture,
    rows,
    undo,
)

Change = Callable[[dict[str, dict[int, object]]], None]
OF_A_FRAME = ("frame", "sequence", "kind", "position", "frames", "planned")


def shot(path: Path, after_s: float, *, shade: int = 90, change: Change | None = None) -> None:
    """A picture, its Exif changed where that is asked for; as a TIFF where it is a raw by its name."""
    made = picture(path.with_name("made.JPG"), after_s, shade=shade)
    exif = piexif.load(str(made))
    if change is not None:
        change(exif)
    if path.suffix == ".JPG":
        piexif.insert(piexif.dump(exif), str(made))
    else:
        made.write_bytes(piexif.dump(exif).removeprefix(b"Exif\0\0") + bytes([shade]))
    made.rename(path)


def slot(
    card: Path, extension: str, folder: str = LIMPETS, *, change: Change | None = None
) -> Path:
    """A burst of four, a lone frame, and another burst of three, under this extension."""
    shade = 10 if extension == "JPG" else 120
    times = [(n, n / 4) for n in (1, 2, 3, 4)] + [(5, 300)] + [(n, 600 + n / 4) for n in (6, 7, 8)]
    for number, after_s in times:
        path = card / folder / f"IMG_{number:04d}.{extension}"
        shot(path, after_s, shade=shade + number, change=change)
    return card


@pytest.fixture
def raws(tmp_path: Path) -> Path:
    return slot(tmp_path / "slot1", "DNG")


@pytest.fixture
def shoot(raws: Path, tmp_path: Path) -> Path:
    """The shoot of the card with the raws."""
    ingest(raws, tmp_path / "shoot")
    return tmp_path / "shoot"


def by_stem(shoot: Path) -> dict[str, list[Row]]:
    stems: dict[str, list[Row]] = {}
    for row in rows(shoot):
        stems.setdefault(row.source.rpartition("/")[2].partition(".")[0], []).append(row)
    return stems


def hold_joined(shoot: Path) -> None:
    """Fails where the two files of a press are not one frame, side by side, in one sequence."""
    for files in by_stem(shoot).values():
        assert [row.role for row in files] == ["raw", "image"]  # in the manifest's order
        one, two = files
        assert [getattr(one, name) for name in OF_A_FRAME] == [
            getattr(two, name) for name in OF_A_FRAME
        ]
        assert one.destination.rpartition(".")[0] == two.destination.rpartition(".")[0]
    hold_numbered(shoot)


def hold_numbered(shoot: Path) -> None:
    """Fails where frames and sequences do not count from 1, or `frames` is not how many there are."""
    listed = rows(shoot)
    assert {row.frame for row in listed} == {*range(1, len({row.frame for row in listed}) + 1)}
    sequences = {row.sequence for row in listed}
    assert sequences == {*range(1, len(sequences) + 1)}
    for number in sequences:
        own = [row for row in listed if row.sequence == number]
        positions = {row.frame: row.position for row in own}
        assert sorted(filter(None, positions.values())) == [*range(1, len(positions) + 1)]
        assert {row.frames for row in own} == {len(positions)}
        assert [bool(row.grounds) for row in own] == [True] + [False] * (len(own) - 1)


@pytest.mark.parametrize("folder", [LIMPETS, "DCIM/205POOL_"])
def test_the_second_cards_files_join_their_frames_and_take_their_sidecars_along(
    shoot: Path, tmp_path: Path, folder: str
) -> None:
    before = rows(shoot)
    jpegs = slot(tmp_path / "slot2", "JPG", folder)
    (jpegs / folder / "IMG_0003.xmp").write_text("<x:xmpmeta>limpet 3</x:xmpmeta>")
    report = ingest(jpegs, shoot)
    assert (report.is_whole, len(report.new)) == (True, 9)
    after = rows(shoot)
    assert len(after) == 17
    assert [row for row in after if row.role == "raw"] == list(before)
    assert {(row.sequence, row.frame) for row in after} == {
        (row.sequence, row.frame) for row in before
    }
    assert {row.destination.rpartition(".")[0] for row in after} == {
        row.destination.rpartition(".")[0] for row in before
    }
    hold_numbered(shoot)
    assert found(shoot).good == 17


@pytest.mark.parametrize("order", [("DNG", "JPG"), ("JPG", "DNG")])
def test_both_orders_give_one_frame_a_press(tmp_path: Path, order: tuple[str, str]) -> None:
    shoot = tmp_path / "shoot"
    cards = [slot(tmp_path / extension, extension) for extension in order]
    for card in cards:
        ingest(card, shoot)
    hold_joined(shoot)
    hold_consistent(shoot)
    assert by_source(shoot) == {**contents(cards[0]), **contents(cards[1])}
    before = rows(shoot)
    for card in (*cards, *cards):
        assert ingest(card, shoot).new == ()
    assert rows(shoot) == before


@pytest.mark.parametrize("order", [("DNG", "JPG"), ("JPG", "DNG")])
def test_an_undo_of_the_second_card_leaves_the_first_as_it_was(
    tmp_path: Path, order: tuple[str, str]
) -> None:
    shoot = tmp_path / "shoot"
    one, two = (slot(tmp_path / extension, extension) for extension in order)
    ingest(one, shoot)
    before = contents(shoot)
    ingest(two, shoot)
    assert contents(shoot) != before
    undone = undo(shoot, two)
    assert (undone.removed, undone.stay) == (8, {})
    assert contents(shoot) == before


@pytest.mark.parametrize("grown", [0, 1])
def test_a_series_that_goes_on_is_one_whichever_card_tells_first(
    tmp_path: Path, grown: int
) -> None:
    shoot = tmp_path / "shoot"
    cards = [slot(tmp_path / extension, extension) for extension in ("DNG", "JPG")]
    for card in cards:
        ingest(card, shoot)
    for card, extension in zip(cards, ("DNG", "JPG"), strict=True):
        shot(card / LIMPETS / f"IMG_0009.{extension}", 602.25, shade=5)
    ingest(cards[grown], shoot)
    hold_numbered(shoot)  # also while the other card's last file is not there yet
    ingest(cards[1 - grown], shoot)
    hold_joined(shoot)
    assert {row.frames for row in rows(shoot) if row.sequence == 3} == {4}


def test_a_suffix_that_the_raw_got_goes_to_its_jpeg(tmp_path: Path, raws: Path) -> None:
    shoot = tmp_path / "shoot"
    (shoot / "singles").mkdir(parents=True)
    (shoot / "singles" / "img_0005.dng").write_bytes(b"a crab")
    ingest(raws, shoot)
    ingest(slot(tmp_path / "slot2", "JPG"), shoot)
    hold_joined(shoot)
    assert destinations(shoot)[f"{LIMPETS}/IMG_0005.JPG"] == "singles/IMG_0005_2.JPG"


def test_what_the_user_says_of_frames_that_the_raws_are_as_something_else_comes_too_late(
    tmp_path: Path, shoot: Path
) -> None:
    jpegs = slot(tmp_path / "slot2", "JPG")
    asked = Correction(
        first=f"{LIMPETS}/IMG_0001.JPG", last=f"{LIMPETS}/IMG_0004.JPG", kind=Kind.MANUAL_STACK, line=2
    )  # fmt: skip
    with Ingest(jpegs, shoot, IngestOptions(corrections=(asked,))) as work:
        plan = work.inspect(QUIET, hold=True)
        assert plan.too_late == (asked,)
        assert work.carry(plan, QUIET).too_late == (asked,)
    hold_joined(shoot)


# ---- near twins: never one frame ---------------------------------------------------------------


def _no_serial(exif: dict[str, dict[int, object]]) -> None:
    del exif["Exif"][piexif.ExifIFD.BodySerialNumber]


def _other_serial(exif: dict[str, dict[int, object]]) -> None:
    exif["Exif"][piexif.ExifIFD.BodySerialNumber] = b"0418"


def _other_model(exif: dict[str, dict[int, object]]) -> None:
    exif["0th"][piexif.ImageIFD.Model] = b"Tidepool R7"


def _other_fraction(exif: dict[str, dict[int, object]]) -> None:
    told = exif["Exif"][piexif.ExifIFD.SubSecTimeOriginal]
    assert isinstance(told, bytes)
    exif["Exif"][piexif.ExifIFD.SubSecTimeOriginal] = told[:1] + b"7"


def _other_day(exif: dict[str, dict[int, object]]) -> None:  # the counter wrapped
    told = exif["Exif"][piexif.ExifIFD.DateTimeOriginal]
    assert isinstance(told, bytes)
    exif["Exif"][piexif.ExifIFD.DateTimeOriginal] = told.replace(b"05:17", b"05:18")


def _whole_seconds(exif: dict[str, dict[int, object]]) -> None:
    del exif["Exif"][piexif.ExifIFD.SubSecTimeOriginal]


def hold_apart(shoot: Path, before: tuple[Row, ...]) -> None:
    """Fails where the second card changed a row of the first, or took one of its frames."""
    after = rows(shoot)
    assert [row for row in after if row in before] == list(before)
    new = [row for row in after if row not in before]
    assert len(new) == 8
    assert not {row.frame for row in new} & {row.frame for row in before}
    assert not {row.sequence for row in new} & {row.sequence for row in before}
    hold_consistent(shoot)


@pytest.mark.parametrize("change", [_other_serial, _other_model, _other_fraction, _other_day])
def test_other_presses_of_equal_names_stay_apart(
    shoot: Path, tmp_path: Path, change: Change
) -> None:
    before = rows(shoot)
    ingest(slot(tmp_path / "slot2", "JPG", change=change), shoot)
    hold_apart(shoot, before)


@pytest.mark.parametrize(
    ("change", "folder", "together"),
    [
        (_no_serial, LIMPETS, False),
        (_whole_seconds, LIMPETS, True),
        (_whole_seconds, "DCIM/205POOL_", False),
    ],
)
def test_where_a_doubt_is_left_they_stay_apart(
    tmp_path: Path, change: Change, folder: str, *, together: bool
) -> None:
    shoot = tmp_path / "shoot"
    ingest(slot(tmp_path / "slot1", "DNG", change=change), shoot)
    before = rows(shoot)
    ingest(slot(tmp_path / "slot2", "JPG", folder, change=change), shoot)
    if together:
        hold_joined(shoot)
    else:
        hold_apart(shoot, before)


def test_files_of_one_kind_are_two_pictures(tmp_path: Path, shoot: Path) -> None:
    before = rows(shoot)
    second = slot(tmp_path / "slot2", "DNG")
    for path in (second / LIMPETS).iterdir():
        path.write_bytes(path.read_bytes() + b"edited")  # equal names, equal times, other bytes
    ingest(second, shoot)
    hold_apart(shoot, before)


@pytest.mark.parametrize("gone", ["DNG", "JPG"])
def test_a_series_of_which_a_frame_is_on_one_card_alone(tmp_path: Path, gone: str) -> None:
    shoot = tmp_path / "shoot"
    for extension in ("DNG", "JPG"):
        card = slot(tmp_path / extension, extension)
        if extension == gone:
            (card / LIMPETS / f"IMG_0003.{extension}").unlink()
        ingest(card, shoot)
    hold_consistent(shoot)
    assert len(rows(shoot)) == 15
    hold_numbered(shoot)
    lone, other = by_stem(shoot)["IMG_0005"]
    assert lone.frame == other.frame  # the rest of the card joins
    stems = by_stem(shoot)["IMG_0001"]
    assert (stems[0].frame == stems[1].frame) == (gone == "JPG")
