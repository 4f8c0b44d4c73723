"""The notes of Nikon, Sony, Fujifilm and Pentax, against general-purpose readers and our own.

exiftool and exifread have their tags from tables of their own; neither shares code with the card
maker. Nikon's burst record is unverified: exiftool knows two of its bytes alone.
"""

from __future__ import annotations

import io
import json
import shutil
import subprocess
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import exifread
import pytest

from cardmaking import cards, containers, notes
from cardmaking.shots import Shot
from sorter.disk.card import Card
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.cards import read_card

if TYPE_CHECKING:
    from cardmaking.tiff import ByteOrder

BASE = Shot(
    make="",
    model="",
    captured=datetime(2026, 5, 17, 13, 2, 3),  # noqa: DTZ001  a camera's clock has no zone
    subsec="07",
    serial="6004417",
    iso=400,
    focal_mm=105,
    flash="fired",
    focus_mode="manual",
    drive="continuous",
    shot_number=7,
    released=4711,
    switched_on=datetime(2026, 5, 17, 12, 59, 1),  # noqa: DTZ001  a camera's clock has no zone
    burst_first=(101, 1234),
)
MAKERS = {
    "nikon": ("NIKON CORPORATION", "NIKON Z 8"),
    "sony": ("SONY", "ILCE-7RM5"),
    "fujifilm": ("FUJIFILM", "X-T5"),
    "pentax": ("RICOH IMAGING COMPANY, LTD.", "PENTAX K-1 Mark II"),
}
SETTINGS: dict[str, dict[str, Any]] = {
    "burst": {},
    "single": {"drive": "single", "shot_number": 0, "flash": "off", "focus_mode": "auto"},
    "bracket": {"bracket": "exposure", "aeb_offset": Fraction(-2, 3)},
    "focus": {"bracket": "focus"},
}
ORDERS: tuple[ByteOrder, ...] = ("<", ">")
WITH_IT: dict[str, dict[str, dict[str, Any]]] = {
    "nikon": {
        "burst": {
            "Nikon:FocusMode": "MANUAL",
            "Nikon:ShootingMode": 1,
            "Nikon:ExposureBracketValue": 0,
            "Nikon:SerialNumber": 6004417,
            "Nikon:ShutterCount": 4711,
            "Nikon:PowerUpTime": "2026:05:17 12:59:01",
            "Nikon:FlashMode": 9,
            "Nikon:Lens": "105 105 2.8 2.8",
        },
        "single": {"Nikon:FocusMode": "AF-S  ", "Nikon:ShootingMode": 0, "Nikon:FlashMode": 0},
        "bracket": {"Nikon:ShootingMode": 17, "Nikon:ExposureBracketValue": -0.6666666667},
        "focus": {"Nikon:ShootingMode": 1, "Nikon:ExposureBracketValue": 0},
    },
    "sony": {
        "burst": {
            "Sony:ReleaseMode": 2,
            "Sony:SequenceNumber": 7,
            "Sony:FocusMode": 0,
            "Sony:FlashAction": 2,
        },
        "single": {
            "Sony:ReleaseMode": 0,
            "Sony:SequenceNumber": 0,
            "Sony:FocusMode": 2,
            "Sony:FlashAction": 0,
        },
        "bracket": {"Sony:ReleaseMode": 5, "Sony:SequenceNumber": 7},
        "focus": {"Sony:ReleaseMode": 2, "Sony:SequenceNumber": 7},
    },
    "fujifilm": {
        "burst": {
            "FujiFilm:AutoBracketing": 0,
            "FujiFilm:SequenceNumber": 7,
            "FujiFilm:DriveMode": 2,
            "FujiFilm:FocusMode": 1,
            "FujiFilm:FujiFlashMode": 4,
            "FujiFilm:ImageCount": 4711,
            "FujiFilm:InternalSerialNumber": 6004417,
        },
        "single": {
            "FujiFilm:SequenceNumber": 0,
            "FujiFilm:DriveMode": 0,
            "FujiFilm:FocusMode": 0,
            "FujiFilm:FujiFlashMode": 2,
        },
        "bracket": {"FujiFilm:AutoBracketing": 1, "FujiFilm:SequenceNumber": 7},
        "focus": {"FujiFilm:AutoBracketing": 0, "FujiFilm:SequenceNumber": 7},
    },
    "pentax": {
        "burst": {
            "Pentax:DriveMode": "1 0 0 0",
            "Pentax:FocusMode": 3,
            "Pentax:AutoBracketing": 0,
            "Pentax:SerialNumber": 6004417,
        },
        "single": {"Pentax:DriveMode": "0 0 0 0", "Pentax:FocusMode": 16},
        "bracket": {"Pentax:AutoBracketing": 1},
        "focus": {"Pentax:AutoBracketing": 0},
    },
}
"""What exiftool is to say, unconverted; its group and tag names."""
CASES = [(maker, setting, order) for maker in MAKERS for setting in SETTINGS for order in ORDERS]
NAMED = pytest.mark.parametrize(("maker", "setting", "order"), CASES)


def shot_of(maker: str, setting: str) -> Shot:
    make, model = MAKERS[maker]
    return replace(BASE, make=make, model=model, **SETTINGS[setting])


def name(maker: str, setting: str, order: str) -> str:
    return f"{maker}-{setting}-{'little' if order == '<' else 'big'}.jpg"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A JPEG for each maker, setting and byte order."""
    folder = tmp_path_factory.mktemp("notes")
    for maker, setting, order in CASES:
        data = containers.jpeg(shot_of(maker, setting), cards.picture(), order=order)
        (folder / name(maker, setting, order)).write_bytes(data)
    return folder


@pytest.fixture(scope="module")
def by_exiftool(made: Path) -> dict[str, dict[str, Any]]:
    program = shutil.which("exiftool")
    assert program, "exiftool is missing: apt-get install libimage-exiftool-perl"
    command = [program, "-json", "-n", "-G1", "-a", "-u", "."]
    done = subprocess.run(command, check=True, cwd=made, capture_output=True)  # noqa: S603
    return {Path(tags["SourceFile"]).name: tags for tags in json.loads(done.stdout)}


@pytest.fixture(scope="module")
def by_sorter(made: Path) -> dict[str, Facts]:
    card = Card(made)
    reading = read_card(card, card.listing())
    # Of equal bytes, where a maker does not tell the setting, one frame is made.
    return {each.path: each.facts for frame in reading.frames for each in frame.files}


@NAMED
def test_exiftool_reads_each_note(
    by_exiftool: dict[str, dict[str, Any]], maker: str, setting: str, order: str
) -> None:
    tags = by_exiftool[name(maker, setting, order)]
    assert "ExifTool:Warning" not in tags
    expected = WITH_IT[maker][setting]
    assert {key: tags.get(key) for key in expected} == expected


@pytest.mark.parametrize("order", ORDERS)
def test_exifread_reads_the_notes_that_it_knows(order: ByteOrder) -> None:
    def tags(maker: str) -> dict[str, str]:
        data = containers.jpeg(shot_of(maker, "bracket"), cards.picture(), order=order)
        found = exifread.process_file(io.BytesIO(data), details=True)
        return {key.removeprefix("MakerNote "): str(value) for key, value in found.items()}

    nikon = tags("nikon")
    assert nikon["BracketingMode"] == "Continuous, exposure bracketing"
    assert (nikon["AEBracketCompensationApplied"], nikon["FocusMode"]) == ("-2/3", "MANUAL")
    assert nikon["TotalShutterReleases"] == "4711"
    fuji = tags("fujifilm")
    assert (fuji["MotorOrBracket"], fuji["FocusMode"]) == ("On", "Manual")
    assert fuji["Tag 0x1101"] == "7"
    sony = tags("sony")
    assert (sony["ReleaseMode"].strip(), sony["SequenceNumber"]) == ("Exposure Bracketing", "7")


@NAMED
def test_the_sorter_reads_drive_focus_and_bracket(
    by_sorter: dict[str, Facts], maker: str, setting: str, order: str
) -> None:
    said = by_sorter[name(maker, setting, order)]
    shot = shot_of(maker, setting)
    # Sony's one word for drive and bracket leaves no room for the drive of a bracket.
    sonys = maker == "sony" and setting == "bracket"
    assert said.drive_mode == (None if sonys else DriveMode(shot.drive))
    assert said.focus_mode is FocusMode(shot.focus_mode)
    assert (said.focus_near_m, said.focus_far_m, said.focus_step) == (None, None, None)
    is_exposure = said.bracketing is Bracketing.EXPOSURE or said.auto_bracket is True
    assert is_exposure == (setting == "bracket")
    assert said.bracketing is not Bracketing.FOCUS


@NAMED
def test_the_sorter_reads_a_number_where_the_maker_writes_one(
    by_sorter: dict[str, Facts], maker: str, setting: str, order: str
) -> None:
    said = by_sorter[name(maker, setting, order)]
    number = shot_of(maker, setting).shot_number or None
    assert said.shot_number == (None if maker == "pentax" else number)
    assert said.counter == (4711 if maker in {"nikon", "fujifilm"} else None)
    assert bool(said.session) == (maker == "nikon")


def test_nikons_burst_is_named_by_its_first_file(by_sorter: dict[str, Facts]) -> None:
    for order in ORDERS:
        assert by_sorter[name("nikon", "burst", order)].burst_id == "1-101-1234"
        assert by_sorter[name("nikon", "single", order)].burst_id == ""


def test_nikons_burst_record_has_what_exiftool_reads_of_it(
    by_exiftool: dict[str, dict[str, Any]],
) -> None:
    """exiftool 12 reads the low half of the address, in the note's order."""
    record = notes.nikon_burst((101, 1234), 7)
    tags = by_exiftool[name("nikon", "burst", "<")]
    assert tags["Nikon:BurstGroupID"] == int.from_bytes(record[4:6], "little")


@pytest.mark.parametrize(
    ("frames", "rising", "pattern"), [(3, False, 1), (5, True, 4), (7, True, 6)]
)
def test_panasonics_pattern_says_how_many_frames(frames: int, rising: bool, pattern: int) -> None:
    """Source: general-purpose metadata libraries' tag tables."""
    shot = replace(BASE, bracket="exposure", aeb_frames=frames, aeb_rising=rising)
    assert notes.panasonic_pattern(shot) == pattern
    assert notes.panasonic_pattern(replace(shot, bracket="off")) == 0
