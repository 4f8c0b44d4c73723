"""Files to frames: what belongs to one press of the shutter travels together (field case C5)."""

from __future__ import annotations

import pytest

from reading.builders import read
from sorter.model.frame import Facts
from sorter.model.kinds import Kind, Role
from sorter.model.values import Moment
from sorter.reading.frames import join
from sorter.reading.names import number, one_counter

RAW, SIDECAR, CLIP, SOUND, THUMBNAIL = (
    Role.RAW,
    Role.SIDECAR,
    Role.CLIP,
    Role.SOUND,
    Role.THUMBNAIL,
)
EMPTY = ("the file is empty",)


def joined(*files: object) -> list[list[str]]:
    frames, _ = join(files)  # type: ignore[arg-type]
    return [[file.path for file in frame.files] for frame in frames]


def loose(*files: object) -> list[tuple[Kind, str]]:
    _, rest = join(files)  # type: ignore[arg-type]
    return [(kind, file.path) for kind, file in rest]


def test_two_bodies_of_two_models_take_no_frame_together() -> None:
    one, two = (Facts(model=model, moment=Moment(local_s=1000)) for model in ("EOS R8", "OM-1"))
    files = read("D/IMG_0001.CR3", RAW, said=one), read("D/IMG_0001.JPG", said=two)
    assert joined(*files) == [["D/IMG_0001.CR3"], ["D/IMG_0001.JPG"]]
    lost = read("D/IMG_0001.JPG", said=Facts(moment=Moment(local_s=1000)))
    assert joined(files[0], lost) == [["D/IMG_0001.CR3", "D/IMG_0001.JPG"]]


def test_raw_image_and_sidecars_are_one_frame_and_the_raw_speaks() -> None:
    files = [
        read("D/IMG_0001.JPG"),
        read("D/IMG_0001.CR3", RAW),
        read("D/IMG_0001.xmp", SIDECAR),
        read("D/img_0001.cr3.XMP", SIDECAR),
        read("D/IMG_0001.WAV", SOUND),
        read("D/IMG_0001.THM", THUMBNAIL),
    ]
    [paths] = joined(*files)
    assert paths[0] == "D/IMG_0001.CR3"
    assert sorted(paths) == sorted(file.path for file in files)
    assert loose(*files) == []


def test_the_case_of_names_does_not_part_a_frame() -> None:
    assert joined(read("D/img_0001.jpg"), read("D/IMG_0001.CR3", RAW)) == [
        ["D/IMG_0001.CR3", "D/img_0001.jpg"]
    ]


def test_equal_names_in_different_folders_are_different_frames() -> None:
    assert len(joined(read("A/IMG_0001.JPG"), read("B/IMG_0001.JPG"))) == 2


@pytest.mark.parametrize(("apart", "frames"), [(0, 1), (1, 1), (2, 1), (3, 2), (3600, 2)])
def test_times_confirm_the_pair(apart: int, frames: int) -> None:
    pair = read("D/IMG_0001.CR3", RAW), read("D/IMG_0001.JPG", at=1000 + apart)
    assert len(joined(*pair)) == frames


def test_where_times_disagree_the_sidecar_goes_where_its_name_fits_and_else_to_the_raw() -> None:
    files = [
        read("D/IMG_0001.CR3", RAW),
        read("D/IMG_0001.JPG", at=9000),
        read("D/IMG_0001.JPG.xmp", SIDECAR),
        read("D/IMG_0001.xmp", SIDECAR),
    ]
    assert joined(*files) == [
        ["D/IMG_0001.CR3", "D/IMG_0001.xmp"],
        ["D/IMG_0001.JPG", "D/IMG_0001.JPG.xmp"],
    ]


@pytest.mark.parametrize(
    ("one", "other"),
    [("IMG_0036", "_MG_0036"), ("DSC_0036", "_DSC0036"), ("DSCF0036", "_DSF0036")],
)
def test_the_two_colour_space_prefixes_of_one_counter_are_one_frame(one: str, other: str) -> None:
    assert len(joined(read(f"D/{one}.CR3", RAW), read(f"D/{other}.JPG"))) == 1
    assert len(joined(read(f"D/{one}.CR3", RAW), read(f"D/{other}.JPG", at=1010))) == 2
    assert len(joined(read(f"D/{one}.JPG"), read(f"E/{other}.JPG"))) == 2


def test_one_number_under_unlike_prefixes_is_two_frames() -> None:
    assert len(joined(read("D/IMG_0036.JPG"), read("D/DSC_0036.JPG"))) == 2


def test_prefixes() -> None:
    assert one_counter("img_", "_mg_")
    assert one_counter("_igp", "imgp")
    assert one_counter("p517", "_517")
    assert not one_counter("img_", "img_")
    assert not one_counter("_mg_", "_mg_")
    assert not one_counter("dsc_", "_mg_")
    assert number("IMG_0036") == ("img_", "0036")
    assert number("IMG_0000") is None
    assert number("IMG_00361") is None
    assert number("Grün0036") is None


def test_names_outside_dcf_are_joined_by_stem() -> None:
    files = [read("a/holiday one.dng", RAW), read("a/holiday one.jpg"), read("a/x.y.jpg")]
    assert joined(*files) == [["a/holiday one.dng", "a/holiday one.jpg"], ["a/x.y.jpg"]]


def test_what_the_raw_does_not_say_is_filled_in_from_the_image() -> None:
    moment = Moment(local_s=1000)
    raw = read("D/A.CR3", RAW, said=Facts(moment=moment, iso=100.0, lens=""))
    image = read("D/A.JPG", said=Facts(moment=moment, iso=200.0, lens="L", counter=7))
    [frame], _ = join([image, raw])
    assert (frame.facts.iso, frame.facts.lens, frame.facts.counter) == (100.0, "L", 7)


def test_a_fact_that_says_off_is_said() -> None:
    moment = Moment(local_s=1000)
    raw = read("D/A.CR3", RAW, said=Facts(moment=moment, flash_fired=False, exposure_bias_ev=0.0))
    image = read("D/A.JPG", said=Facts(moment=moment, flash_fired=True, exposure_bias_ev=1.0))
    [frame], _ = join([image, raw])
    assert (frame.facts.flash_fired, frame.facts.exposure_bias_ev) == (False, 0.0)


def test_a_broken_partner_stays_in_the_frame_with_its_note() -> None:
    broken = read("D/IMG_0001.JPG", at=None, notes=EMPTY)
    [frame], rest = join([broken, read("D/IMG_0001.CR3", RAW)])
    assert [file.path for file in frame.files] == ["D/IMG_0001.CR3", "D/IMG_0001.JPG"]
    assert frame.notes == ("IMG_0001.JPG: the file is empty",)
    assert rest == ()


def test_a_good_image_speaks_for_a_broken_raw() -> None:
    broken = read("D/IMG_0001.CR3", RAW, at=None, notes=EMPTY)
    [frame], _ = join([broken, read("D/IMG_0001.JPG")])
    assert frame.path == "D/IMG_0001.JPG"


def test_what_is_no_frame() -> None:
    files = [
        read("D/MVI_0002.MP4", CLIP),
        read("D/MVI_0002.THM", THUMBNAIL),
        read("D/MVI_0002.xmp", SIDECAR),
        read("D/VOICE.WAV", SOUND),
        read("D/IMG_0003.JPG", at=None),
        read("D/IMG_0003.xmp", SIDECAR),
        read("D/IMG_0004.CR3", RAW, at=None, notes=EMPTY),
        read("D/IMG_0005.xmp", SIDECAR),
        read("D/notes.txt", Role.OTHER),
    ]
    assert joined(*files) == []
    assert loose(*files) == [
        (Kind.UNDATED, "D/IMG_0003.JPG"),
        (Kind.UNDATED, "D/IMG_0003.xmp"),
        (Kind.UNREADABLE, "D/IMG_0004.CR3"),
        (Kind.OTHER, "D/IMG_0005.xmp"),
        (Kind.CLIP, "D/MVI_0002.MP4"),
        (Kind.CLIP, "D/MVI_0002.THM"),
        (Kind.CLIP, "D/MVI_0002.xmp"),
        (Kind.CLIP, "D/VOICE.WAV"),
        (Kind.OTHER, "D/notes.txt"),
    ]


def test_frames_come_in_the_order_of_their_paths() -> None:
    names = ["D/IMG_0003.JPG", "D/IMG_0001.JPG", "C/IMG_0002.JPG", "D/holiday.JPG"]
    assert joined(*map(read, names)) == [[name] for name in sorted(names)]
