"""Pictures as files for a page: against Pillow, Matplotlib and CIE Lab by scikit-image."""

from __future__ import annotations

from io import BytesIO

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000, rgb2lab

from sorter.pixels.drawn import (
    MOST_PROFILE,
    SMALL_SIDE,
    UNKNOWN,
    colours,
    false_colour,
    jpeg,
    small,
)


def picture(rows: int, columns: int) -> np.ndarray:
    rough = np.random.default_rng(3).integers(0, 255, (6, 9, 3)).astype(np.uint8)
    return np.asarray(Image.fromarray(rough).resize((columns, rows), Image.Resampling.BICUBIC))


def parts(colour: str) -> list[int]:
    return list(bytes.fromhex(colour.removeprefix("#")))


def test_the_colours_are_those_of_viridis() -> None:
    """Matplotlib's own table is the reference."""
    wanted = mpl.colormaps["viridis"](np.linspace(0, 1, 9))[:, :3] * 255
    found = np.array([parts(each) for each in colours(9)])
    assert np.abs(found - wanted).max() <= 4  # a step of the table


def test_the_colours_are_even_to_the_eye() -> None:
    """Equal steps in depth look about equal (CIEDE2000), and go one way in lightness (CIE Lab)."""
    shown = np.array([parts(each) for each in colours(33)])[None] / 255.0
    lab = rgb2lab(shown)[0]
    assert (np.diff(lab[:, 0]) > 0).all()
    steps = deltaE_ciede2000(lab[:-1], lab[1:])
    assert steps.std() < 0.3 * steps.mean()


def test_no_colour_is_the_grey_of_what_is_not_told() -> None:
    apart = [np.abs(np.subtract(parts(each), UNKNOWN)).max() for each in colours(255)]
    assert min(apart) > 12


def test_depth_is_drawn_by_its_share() -> None:
    depth = np.linspace(0, 1, 60).reshape(6, 10)
    told = np.ones((6, 10), bool)
    told[2, 3] = False
    with Image.open(BytesIO(false_colour(depth, told))) as shown:
        found = np.asarray(shown.convert("RGB"))
    assert found[0, 0].tolist() == parts(colours(2)[0])
    assert found[-1, -1].tolist() == parts(colours(2)[1])
    assert tuple(found[2, 3]) == UNKNOWN


@pytest.mark.parametrize("shape", [(600, 900), (900, 600), (30, 3000)])
def test_a_small_picture_keeps_its_sides(shape: tuple[int, int]) -> None:
    """Pillow's own thumbnail is the reference for the size."""
    wanted = Image.fromarray(picture(*shape))
    wanted.thumbnail((SMALL_SIDE, SMALL_SIDE))
    assert np.abs(np.subtract(small(picture(*shape)).shape[1::-1], wanted.size)).max() <= 1


def test_a_picture_that_is_small_stays() -> None:
    assert small(picture(60, 90)).shape == (60, 90, 3)


def test_the_profile_goes_along() -> None:
    """Of the colours: without it a picture in a wide one would look pale."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    with Image.open(BytesIO(jpeg(picture(60, 90), profile=profile))) as shown:
        assert shown.info["icc_profile"] == profile
    with Image.open(BytesIO(jpeg(picture(60, 90), profile=bytes(MOST_PROFILE + 1)))) as shown:
        assert "icc_profile" not in shown.info
