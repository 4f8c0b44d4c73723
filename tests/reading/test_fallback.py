"""Where our own walk knows no way in, the general-purpose library answers."""

from __future__ import annotations

import io

import piexif
import pytest
from PIL import Image

from reading import builders
from sorter.model.kinds import Role
from sorter.reading import cards, fallback
from sorter.reading.builder import FactsBuilder
from sorter.reading.source import Memory


def _jpeg() -> bytes:
    exif = {
        "0th": {piexif.ImageIFD.Make: b"Rockpool", piexif.ImageIFD.Model: b"One"},
        "Exif": {
            piexif.ExifIFD.DateTimeOriginal: b"2026:05:17 13:02:11",
            piexif.ExifIFD.SubSecTimeOriginal: b"34",
            piexif.ExifIFD.ExposureTime: (1, 160),
            piexif.ExifIFD.FNumber: (56, 10),
            piexif.ExifIFD.ISOSpeedRatings: 400,
            piexif.ExifIFD.FocalLength: (100, 1),
        },
    }
    return builders.jpeg(piexif.dump(exif)[6:])


def test_a_form_that_we_do_not_know_is_read_by_the_library(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """exifread finds in these bytes what our own walk finds, were their form unknown to us."""
    ours = builders.builder(_jpeg()).built()
    monkeypatch.setattr(cards, "recognise", lambda _: None)
    found = builders.builder(_jpeg())
    assert found.is_picture
    assert found.role is Role.IMAGE
    assert fallback.BY_LIBRARY in found.notes
    facts = found.built()
    assert facts.moment == ours.moment
    assert facts.moment is not None
    assert facts.moment.digits == "34"
    for name in ("make", "model", "exposure_time_s", "f_number", "iso", "focal_length_mm"):
        assert getattr(facts, name) == getattr(ours, name) is not None


def test_a_file_that_is_no_picture_by_its_name_is_not_given_to_the_library(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(cards, "recognise", lambda _: None)
    assert not builders.builder(_jpeg(), "NOTES.TXT").is_picture


@pytest.mark.parametrize("data", [b"", b"\0" * 4096, b"II*\0" + b"\xff" * 64, b"no picture"])
def test_bytes_that_the_library_cannot_read_are_no_error(data: bytes) -> None:
    builder = FactsBuilder()
    assert not fallback.read(Memory(data), builder)
    assert builder.notes == []


def test_the_library_is_given_a_mebibyte_at_most() -> None:
    class Counting(Memory):
        asked = 0

        def read(self, offset: int, length: int) -> bytes:
            self.asked += length
            return super().read(offset, length)

    source = Counting(_jpeg() + b"\0" * (3 << 20))
    assert fallback.read(source, FactsBuilder())
    assert source.asked <= fallback.MOST_BYTES


def test_a_picture_without_exif_stays_one() -> None:
    store = io.BytesIO()
    Image.new("RGB", (8, 8)).save(store, "PNG")
    found = builders.builder(store.getvalue(), "LIMPET.PNG")
    assert found.is_picture
    assert found.notes == ["no Exif"]
