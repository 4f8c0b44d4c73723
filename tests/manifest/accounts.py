"""A card of a rock pool at low tide, built by hand: what the tests of tables and manifests show."""

from __future__ import annotations

import math
from dataclasses import replace

from sorter.model.card import CardFile
from sorter.model.frame import Facts, Frame, ReadFile
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role
from sorter.model.sequence import Account, Grounds, Sequence
from sorter.model.values import Moment

LOW_TIDE_S = 1_779_022_931  # 2026-05-17 13:02:11 by the camera's clock
ROLES = {"CR3": Role.RAW, "ORF": Role.RAW, "JPG": Role.IMAGE, "xmp": Role.SIDECAR}
FIRST = Facts(
    make="Tidepool",
    model="Tidepool R8",
    serial="0417",
    lens="100mm F2.8 Macro",
    focal_length_mm=100.0,
    f_number=5.6,
    exposure_time_s=1 / 60,
    iso=400.0,
    exposure_bias_ev=-1 / 3,
    flash_fired=False,
    focus_mode=FocusMode.AUTO,
    drive_mode=DriveMode.SINGLE,
)
SECOND = Facts(make="Ebb", model="E-1", lens="=60mm", flash_fired=True, iso=200.0)


def moment(after_s: float, digits: int | None = 2) -> Moment:
    whole, part = divmod(round(after_s * 100), 100)
    return Moment(local_s=LOW_TIDE_S + whole, digits=f"{part:02d}" if digits else None)


def file(path: str, facts: Facts | None = None, **more: object) -> ReadFile:
    role = ROLES.get(path.rpartition(".")[2], Role.OTHER)
    told = replace(
        ReadFile(file=CardFile(path=path, size=len(path) * 1000), role=role, fingerprint=len(path)),
        is_picture=role in (Role.RAW, Role.IMAGE),
        facts=facts or Facts(),
    )
    return replace(told, **more)  # type: ignore[arg-type]


def frame(stem: str, facts: Facts, *extensions: str, notes: tuple[str, ...] = ()) -> Frame:
    files = tuple(
        file(f"{stem}.{extension}", Facts() if extension == "xmp" else facts)
        for extension in extensions or ("CR3",)
    )
    return Frame(files=files, facts=facts, notes=notes)


def at(after_s: float, base: Facts = FIRST, **facts: object) -> Facts:
    return replace(base, moment=moment(after_s), **facts)  # type: ignore[arg-type]


def bracket(number: int, count: int, after_s: float) -> tuple[Frame, ...]:
    return tuple(
        frame(
            f"DCIM/100TIDES/IMG_{number + index:04d}",
            at(after_s + 0.2 * index, focus_near_m=0.22 + 0.02 * index, planned=5),
            "CR3",
            "JPG",
        )
        for index in range(count)
    )


def grounds(begins: str = "18 s after the frame before", kind: str = "one frame") -> Grounds:
    return Grounds(begins=begins, kind=kind, runner_up=Kind.BURST, margin=4.25, begins_margin=9)


def single(number: int, after_s: float) -> Sequence:
    shot = frame(f"DCIM/100TIDES/IMG_{number:04d}", at(after_s))
    return Sequence(kind=Kind.SINGLE, frames=(shot,), grounds=grounds())


def _sequences() -> tuple[Sequence, ...]:
    anemone = frame(
        "DCIM/100TIDES/IMG_0001", at(0, focus_near_m=0.35, focus_far_m=0.37), "JPG", "xmp", "CR3"
    )
    merged = frame("DCIM/100TIDES/IMG_0013", at(21.5, merged="focus"), "JPG")
    whelk = replace(SECOND, moment=moment(40, None), focus_far_m=math.inf)
    return (
        Sequence(kind=Kind.SINGLE, frames=(anemone,), grounds=grounds("first frame of this body")),
        Sequence(
            kind=Kind.FOCUS_BRACKET,
            frames=bracket(10, 3, 20),
            results=(merged,),
            planned=5,
            grounds=grounds("focus fell back; 2.1 s", "3 frames: focus goes one way"),
            notes=("3 of 5 planned frames", "may be a retake; of sequence 1"),
        ),
        Sequence(
            kind=Kind.BURST,
            frames=(
                frame("DCIM/101EBB_/P5170001", whelk, "ORF", notes=("the picture ends early",)),
                frame("DCIM/101EBB_/P5170002", whelk, "ORF"),
            ),
            grounds=grounds("=SUM(A1)", "2 frames"),
        ),
        single(14, 60),
        single(15, 70),
        single(16, 80),
    )


LOOSE = (
    (Kind.OTHER, file("MISC/=TIDE().DAT")),
    (Kind.CLIP, file("DCIM/100TIDES/MVI_0009.MP4", role=Role.CLIP)),
    (Kind.UNREADABLE, file("DCIM/100TIDES/IMG_0020.CR3", is_picture=False, notes=("empty",))),
    (Kind.UNDATED, file("-crab\udcff.JPG", notes=("no Exif", "no Exif"))),
)


def account_of(*sequences: Sequence, loose: tuple[tuple[Kind, ReadFile], ...] = ()) -> Account:
    order = [shot for each in sequences for shot in (*each.frames, *each.results)]
    return Account(sequences=sequences, order=tuple(order), loose=loose)


def rock_pool() -> Account:
    """Six sequences of two bodies, a merged result, four files that are no frame, some system files."""
    return replace(account_of(*_sequences(), loose=LOOSE), system_files=6)
