"""What must hold for the plan of every card, whatever is on it and in the shoot already."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from dataclasses import replace
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from grouping.shoots import BODIES, shoot
from planning.carrying import (
    NOTHING,
    carried,
    contents,
    destinations,
    files_of,
    frames_of,
    plan_of,
    rows_of,
)
from planning.heaps import accounts
from sorter.grouping.account import account_for
from sorter.manifest.csvfile import manifest_bytes, read_manifest
from sorter.manifest.rows import in_order, spelled
from sorter.model.frame import Frame, Reading
from sorter.model.kinds import NO_FRAME_KINDS, Kind, Who
from sorter.model.note import texts
from sorter.model.plan import Entry, Placement, Plan
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.planning import names
from sorter.planning.numbering import numbers_for
from sorter.planning.pattern import parse
from sorter.planning.places import Naming, ShootContents

FIXED = {"singles", "markers", "clips", "unsorted", "results"}
# What a shoot's top holds or will hold, folded (the contract's "The shoot folder").
RESERVED = FIXED | {"report", "checks.csv", ".sorter", "manifest.csv", "sha256sums"}
PATTERNS = ("{kind}", "{name}", "{sequence:04d}_{kind}_{frames}_{name}", "{name}{frames}", "report")
few = examples(25)
some = examples(50)
namings = st.builds(
    Naming,
    pattern=st.sampled_from(PATTERNS).map(parse),
    name=st.sampled_from(("", "Singles", "SHA256SUMS", "limpet")),
)
# Files of someone else in the shoot, where the plan would like to put its own.
occupied = st.frozensets(
    st.sampled_from(
        [
            *("singles/IMG_0001.JPG", "singles/img_0001.CR3", "unsorted/CON.JPG", "burst/a"),
            *("0001_burst_2/x", "limpet_2/y", "results/IMG_0001_2.JPG", "clips/_con.jpg", "LIMPET"),
        ]
    )
)


def _folded(path: str) -> str:
    """As a file system sees it that looks neither at case nor at Unicode form."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _new(plan: Plan) -> list[Placement]:
    return [each for each in plan.placements if each.row.destination]


@some
@given(accounts(), namings, occupied)
def test_no_two_files_get_one_name_nor_one_that_is_taken(
    account: Account, naming: Naming, taken: frozenset[str]
) -> None:
    plan = plan_of(account, ShootContents(taken=taken), naming)
    given_paths = [_folded(each.row.destination) for each in _new(plan)]
    assert len(set(given_paths)) == len(given_paths)
    assert not set(given_paths) & {_folded(path) for path in taken}


@some
@given(accounts(), namings)
def test_every_row_has_a_placement_and_only_the_destination_is_added(
    account: Account, naming: Naming
) -> None:
    plan = plan_of(account, NOTHING, naming)
    bare = [replace(each.row, destination="") for each in plan.placements]
    assert sorted(bare, key=lambda row: row.source) == sorted(
        rows_of(account), key=lambda row: row.source
    )
    assert not plan.updated


@some
@given(accounts(), namings)
def test_every_destination_is_a_folder_and_a_legal_name_in_it(
    account: Account, naming: Naming
) -> None:
    for each in _new(plan_of(account, NOTHING, naming)):
        folder, name = each.row.destination.split("/")
        assert names.is_legal(folder)
        assert names.is_legal(name)


@some
@given(accounts(), namings)
def test_a_link_stays_on_the_card_and_nothing_else_does(account: Account, naming: Naming) -> None:
    files = files_of(account)
    for each in plan_of(account, NOTHING, naming).placements:
        left = not each.row.destination
        assert left == (not files[each.row.source].file.plain)
        assert left == ("left on the card" in each.carrying_notes)


@some
@given(accounts(), namings)
def test_whoever_is_renamed_is_told_so(account: Account, naming: Naming) -> None:
    for each in _new(plan_of(account, NOTHING, naming)):
        own = each.row.source.rpartition("/")[2]
        name = each.row.destination.rpartition("/")[2]
        assert any(
            str(said).startswith(f"named {name} here: ") for said in each.carrying_notes
        ) == (name != own)


# ---- folders --------------------------------------------------------------------------------


def _wanted_folder(row: Row) -> str:
    """The contract's folder for what is in no sequence of two or more frames; else empty."""
    if row.kind in NO_FRAME_KINDS:
        return "clips" if row.kind is Kind.CLIP else "unsorted"
    if row.position is None:
        return "results"
    if row.kind is Kind.MARKER:
        return "markers"
    return "singles" if row.frames == 1 else ""


@some
@given(accounts(), namings, occupied)
def test_folders_are_those_of_the_contract(
    account: Account, naming: Naming, taken: frozenset[str]
) -> None:
    of_sequence: dict[int | None, set[str]] = defaultdict(set)
    for each in _new(plan_of(account, ShootContents(taken=taken), naming)):
        folder, wanted = _folder(each.row.destination), _wanted_folder(each.row)
        if wanted:
            assert folder == wanted
        else:
            of_sequence[each.row.sequence].add(_folded(folder))
    own = [folder for folders in of_sequence.values() for folder in folders]
    assert all(len(folders) == 1 for folders in of_sequence.values())
    assert len(set(own)) == len(own)
    assert not set(own) & (RESERVED | {_folded(path.partition("/")[0]) for path in taken})


# ---- frames stay together -------------------------------------------------------------------


def _suffix(source: str, destination: str) -> str:
    """What stands in the new name beside the legal form of the old one, before a dot or its end."""
    own, name = names.legal(source.rpartition("/")[2]), destination.rpartition("/")[2]
    if own == name:
        return ""
    found = [
        match[0]
        for match in re.finditer(r"_\d+(?=\.|$)", name)
        if name[: match.start()] + name[match.end() :] == own
    ]
    assert found, (own, name)
    return found[0]


def _files_of_frame(frame: Frame, to: dict[str, str]) -> dict[str, str]:
    return {file.path: to[file.path] for file in frame.files if to.get(file.path)}


@some
@given(accounts(), namings, occupied)
def test_files_of_one_frame_share_a_folder_and_a_suffix(
    account: Account, naming: Naming, taken: frozenset[str]
) -> None:
    to = destinations(plan_of(account, ShootContents(taken=taken), naming))
    for frame in frames_of(account):
        files = _files_of_frame(frame, to)
        own = {_folded(names.legal(source.rpartition("/")[2])) for source in files}
        assert len({_folder(path) for path in files.values()}) <= 1
        if len(own) == len(files):  # no twins among themselves
            assert len({_suffix(*pair) for pair in files.items()}) <= 1


# ---- again, and more ------------------------------------------------------------------------


@some
@given(accounts(), namings)
def test_a_card_that_is_all_there_gives_nothing_to_do(account: Account, naming: Naming) -> None:
    known = carried(plan_of(account, NOTHING, naming))
    again = plan_of(account, contents(account, known), naming)
    assert again == Plan(placements=(), updated=())


def _moved_to(account: Account, root: str) -> Account:
    """The same pictures on another card, below another folder."""

    def moved(frame: Frame) -> Frame:
        files = (
            replace(one, file=replace(one.file, path=f"{root}/{one.path}")) for one in frame.files
        )
        return replace(frame, files=tuple(files))

    return replace(
        account,
        sequences=tuple(
            replace(each, frames=tuple(map(moved, each.frames)), results=tuple(map(moved, each.results)))
            for each in account.sequences
        ),
        order=tuple(map(moved, account.order)),
        loose=tuple(
            (kind, replace(one, file=replace(one.file, path=f"{root}/{one.path}")))
            for kind, one in account.loose
        ),
    )  # fmt: skip


@some
@given(accounts(), accounts(), namings)
def test_a_second_card_goes_on_with_the_numbers_and_takes_no_name(
    first: Account, second: Account, naming: Naming
) -> None:
    known = carried(plan_of(first, NOTHING, naming))
    other = _moved_to(second, "OTHER")
    plan = plan_of(other, contents(other, known), naming)
    last = max((each.sequence or 0 for each in rows_of(first)), default=0)
    numbers = {each.row.sequence for each in plan.placements} - {None}
    assert numbers == set(range(last + 1, last + 1 + len(other.sequences)))
    frames = {each.row.frame for each in plan.placements} - {None}
    assert not frames & {entry.row.frame for entry in known}
    assert not plan.updated
    _all_differ(carried(plan, known))


def _all_differ(entries: tuple[Entry, ...]) -> None:
    paths = [_folded(entry.row.destination) for entry in entries if entry.row.destination]
    assert len(set(paths)) == len(paths)


@few
@given(
    seed=st.integers(0, 10**6),
    body=st.sampled_from(sorted(BODIES)),
    part=st.tuples(st.integers(0, 79), st.integers(0, 79)).map(sorted),
)
def test_a_card_that_grew_adds_only_what_is_new(seed: int, body: str, part: list[int]) -> None:
    frames = shoot(seed, BODIES[body], 80).reading().frames
    before = frames[: part[0]] + frames[part[1] :]
    known = carried(plan_of(account_for(Reading(frames=before))))
    whole = account_for(Reading(frames=frames))
    here = contents(whole, known)
    plan = plan_of(whole, here)
    there = {frame.path for frame in before}
    assert set(destinations(plan)) == {frame.path for frame in frames} - there
    after = carried(plan, known)
    _all_differ(after)
    _nothing_there_was_touched(known, after)
    _every_sequence_is_one(after)
    assert plan_of(whole, contents(whole, after)) == Plan(placements=(), updated=())


def _nothing_there_was_touched(known: tuple[Entry, ...], after: tuple[Entry, ...]) -> None:
    for old, now in zip(known, after, strict=False):
        assert (old.number, old.row.source) == (now.number, now.row.source)
        assert (old.row.destination, old.row.sha256) == (now.row.destination, now.row.sha256)
        assert old.row.frame == now.row.frame


def _every_sequence_is_one(after: tuple[Entry, ...]) -> None:
    """Its positions count from 1 to its frames, and all its rows say the same of it."""
    sequences: dict[int | None, set[tuple[int | None, int | None]]] = {}
    for entry in after:
        if entry.row.position is not None:
            found = sequences.setdefault(entry.row.sequence, set())
            found.add((entry.row.position, entry.row.frames))
    for places in sequences.values():
        assert places == {(place, len(places)) for place in range(1, len(places) + 1)}


# ---- into the manifest and back -------------------------------------------------------------


@some
@given(accounts(), namings)
def test_a_plan_reads_back_from_its_manifest(account: Account, naming: Naming) -> None:
    entries = carried(plan_of(account, NOTHING, naming))
    rows = in_order(entry.row for entry in entries)
    told = tuple(
        replace(
            row,
            source=spelled(row.source),
            remarks=tuple(map(spelled, texts(row.remarks))),
            said_by=Who.CAMERA,  # the manifest has no column for it
        )
        for row in rows
    )
    assert read_manifest(manifest_bytes(rows)) == told
    assert [row.source for row in rows] == [row.source for row in rows_of(account)]


@some
@given(accounts(), st.randoms(use_true_random=False))
def test_numbers_do_not_depend_on_the_order_of_what_is_known(account: Account, rng: Random) -> None:
    known = list(carried(plan_of(account)))
    here = contents(account, tuple(known))
    rng.shuffle(known)
    assert numbers_for(account, here.there, tuple(known)) == numbers_for(
        account, here.there, here.known
    )
