"""Accounts of any shape for property tests: names that clash, links, results, loose files."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from manifest.accounts import account_of, at, file, grounds
from sorter.model.card import CardFile
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import NO_FRAME_KINDS, SEQUENCE_KINDS, Kind, Role
from sorter.model.sequence import Account, Sequence

FOLDERS = ("DCIM/100TIDES", "DCIM/101TIDES", "dcim/101tides", "")
# Twins by case and by Unicode form, names that no Windows takes, one that looks like a suffix.
STEMS = (
    *("IMG_0001", "img_0001", "IMG_0001_2", "IMG_0002", "CON", "limpet?", "limpet:"),
    *("\u00c5ngstrom", "A\u030angstrom", "crab\udcff", ".pool"),
)
PICTURES = {"CR3": Role.RAW, "JPG": Role.IMAGE, "jpg": Role.IMAGE}
BESIDE = {"xmp": Role.SIDECAR, "CR3.xmp": Role.SIDECAR, "WAV": Role.SOUND}
SERIES_KINDS = tuple(kind for kind in SEQUENCE_KINDS if kind not in (Kind.SINGLE, Kind.MARKER))
NAMES = ("", "", "limpet", "singles", "../tide", "CON")

_bunches = st.tuples(
    st.sampled_from(FOLDERS),
    st.sampled_from(STEMS),
    st.lists(st.sampled_from(sorted(PICTURES)), min_size=1, max_size=3, unique=True),
    st.lists(st.sampled_from(sorted(BESIDE)), max_size=2, unique=True),
)


def _path(folder: str, stem: str, extension: str) -> str:
    return f"{folder}/{stem}.{extension}".lstrip("/")


def _linked(one: ReadFile) -> ReadFile:
    card_file: CardFile = replace(one.file, plain=False, obstacle="a link")
    return replace(one, file=card_file)


@st.composite
def _heaps(draw: st.DrawFn) -> list[list[ReadFile]]:
    """Files that belong together, no path twice; now and then one of them is a link."""
    told: set[str] = set()
    heaps = []
    for after_s, (folder, stem, *extensions) in enumerate(draw(st.lists(_bunches, max_size=9))):
        each_role = [(each, (PICTURES | BESIDE)[each]) for part in extensions for each in part]
        roles = {_path(folder, stem, each): role for each, role in each_role}
        if told & set(roles):
            continue
        told |= set(roles)
        files = [file(path, at(after_s), role=role) for path, role in roles.items()]
        if draw(st.integers(0, 9)) == 0:
            files[-1] = _linked(files[-1])
        heaps.append(files)
    return heaps


def _sequence(draw: st.DrawFn, frames: list[Frame]) -> Sequence:
    results = frames[-1:] if len(frames) > 2 and draw(st.booleans()) else []
    shots = frames[: len(frames) - len(results)]
    lone = st.sampled_from((Kind.SINGLE, Kind.MARKER))
    kind = draw(st.sampled_from(SERIES_KINDS) if len(shots) > 1 else lone)
    name = draw(st.sampled_from(NAMES))
    return Sequence(
        kind=kind, frames=tuple(shots), results=tuple(results), grounds=grounds(), name=name
    )


@st.composite
def accounts(draw: st.DrawFn) -> Account:
    """Sequences of one to four frames, and files that are no frame."""
    heaps = draw(_heaps())
    sequences, loose = [], []
    while heaps:
        count = draw(st.integers(0, 4))
        if not count:
            kinds = st.sampled_from(sorted(NO_FRAME_KINDS))
            loose += [(draw(kinds), each) for each in heaps.pop(0)]
            continue
        part, heaps = heaps[:count], heaps[count:]
        frames = [Frame(files=tuple(files), facts=files[0].facts) for files in part]
        sequences.append(_sequence(draw, frames))
    return account_of(*sequences, loose=tuple(loose))
