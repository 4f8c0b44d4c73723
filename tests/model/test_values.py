"""Small values: moments and cameras."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter.model.card import CardFile
from sorter.model.frame import Facts
from sorter.model.values import Moment


@given(
    seconds=st.integers(min_value=0, max_value=4_000_000_000),
    micros=st.integers(min_value=0, max_value=999_999),
    offset=st.integers(min_value=-14 * 60, max_value=14 * 60),
)
def test_a_moment_is_written_as_iso_8601(seconds: int, micros: int, offset: int) -> None:
    """Against the standard library's reading of ISO 8601."""
    text = Moment(local_s=seconds, digits=f"{micros:06d}", offset_min=offset).iso()
    zone = timezone(timedelta(minutes=offset))
    wall = datetime(1970, 1, 1, tzinfo=zone) + timedelta(seconds=seconds, microseconds=micros)
    assert datetime.fromisoformat(text) == wall


@pytest.mark.parametrize(
    ("digits", "micros", "grain"),
    [(None, None, 1_000_000), ("5", 500_000, 100_000), ("07", 70_000, 10_000),
     ("130", 130_000, 1_000), ("1234567", 123_456, 1)],
)  # fmt: skip
def test_a_fraction_counts_as_far_as_it_was_given(
    digits: str | None, micros: int | None, grain: int
) -> None:
    moment = Moment(local_s=0, digits=digits)
    assert (moment.fraction_us, moment.grain_us) == (micros, grain)


def test_a_fraction_is_written_as_it_was_given() -> None:
    assert Moment(local_s=0, digits="070").iso() == "1970-01-01T00:00:00.070"
    assert Moment(local_s=0).iso() == "1970-01-01T00:00:00"
    assert Moment(local_s=0, offset_min=-210).iso() == "1970-01-01T00:00:00-03:30"


@pytest.mark.parametrize(
    ("make", "model", "camera"),
    [
        ("Canon", "Canon EOS R8", "Canon EOS R8"),
        ("NIKON CORPORATION", "NIKON Z 6", "NIKON Z 6"),
        ("SONY", "ILCE-7M3", "SONY ILCE-7M3"),
        ("OM Digital Solutions", "OM-1", "OM-1"),
        ("", "Pinhole", "Pinhole"),
        ("Rockpool", "", "Rockpool"),
        ("", "", ""),
    ],
)
def test_a_camera_is_make_and_model_the_make_not_twice(make: str, model: str, camera: str) -> None:
    assert Facts(make=make, model=model).camera == camera


@pytest.mark.parametrize(
    ("path", "folder", "stem", "extension"),
    [
        ("DCIM/100ROCKP/POOL0001.CR3", "DCIM/100ROCKP", "POOL0001", "cr3"),
        ("POOL0001.CR3.xmp", "", "POOL0001.CR3", "xmp"),
        ("a/.hidden", "a", ".hidden", ""),
        ("a/none", "a", "none", ""),
    ],
)
def test_a_path_has_its_parts(path: str, folder: str, stem: str, extension: str) -> None:
    file = CardFile(path=path, size=1)
    assert (file.folder, file.stem, file.extension) == (folder, stem, extension)
