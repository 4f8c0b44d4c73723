"""A shoot whose owner moved, copied, swapped, edited and deleted at random, held against a model.

The model keeps, file by file, what the owner did; what verifying says is held against that and against
what lies there. Its bytes are all different, but for sidecars, of which some are equal.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from sorter.pipeline import Findings, Verification
from writing.cards import LIMPETS, contents, destinations, found, ingest, picture, stamped

RECORDS = {"manifest.csv", "SHA256SUMS"}
FOLDERS = ("west", "east pool/limpets", "singles", "results", "0001_burst_5", "")
SEEDS = range(24)


@dataclass
class Owner:
    """What someone does in a shoot. left: for each file that went from its place, where it lies now.

    gone: files of which the bytes are nowhere in a place that counts. changed: files in whose places
    are bytes of nobody, by the owner's hand. added: what came.
    """

    shoot: Path
    chance: random.Random
    known: dict[str, bytes]
    lies: dict[str, str] = field(default_factory=dict)
    gone: set[str] = field(default_factory=set)
    edited: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.lies = {place: place for place in self.known}

    def does(self, deeds: int) -> None:
        for number in range(deeds):
            deed = self.chance.choice(
                (
                    self.renames,
                    self.renames,
                    self.swaps,
                    self.copies,
                    self.deletes,
                    self.edits,
                    self.numbers,
                )
            )
            deed(number)
        if self.chance.random() < 0.5:
            self.renames_a_folder()

    def one(self) -> str:
        """A file that is somewhere, and was not edited."""
        return self.chance.choice(sorted(self.lies.keys() - self.edited))

    def free(self, number: int, suffix: str) -> str:
        folder = self.chance.choice(FOLDERS)
        (self.shoot / folder).mkdir(parents=True, exist_ok=True)
        return f"{folder}/new {number}{suffix}".lstrip("/")

    def renames(self, number: int) -> None:
        place = self.one()
        there = self.free(number, Path(place).suffix)
        (self.shoot / self.lies[place]).rename(self.shoot / there)
        self.lies[place] = there

    def swaps(self, _: int) -> None:
        one, two = self.one(), self.one()
        here, there = (self.shoot / self.lies[each] for each in (one, two))
        if one != two:
            here.rename(self.shoot / "between")
            there.rename(here)
            (self.shoot / "between").rename(there)
            self.lies[one], self.lies[two] = self.lies[two], self.lies[one]

    def copies(self, number: int) -> None:
        place = self.one()
        shutil.copy(self.shoot / self.lies[place], self.shoot / self.free(number, ".copy"))

    def deletes(self, _: int) -> None:
        if len(self.lies) > 4:
            place = self.one()
            (self.shoot / self.lies.pop(place)).unlink()
            self.gone.add(place)

    def edits(self, number: int) -> None:
        """Only in its own place: elsewhere nobody can know it again."""
        place = self.one()
        if self.lies[place] == place:
            (self.shoot / place).write_bytes(b"edited " * (number + 1))
            self.edited.add(place)

    def numbers(self, _: int) -> None:
        """A file takes the place of one that is gone or went elsewhere."""
        here = {*self.lies.values()}
        free = sorted(
            place for place in self.known if place not in here and not (self.shoot / place).exists()
        )
        if free:
            place, there = self.one(), self.chance.choice(free)
            (self.shoot / there).parent.mkdir(parents=True, exist_ok=True)
            (self.shoot / self.lies[place]).rename(self.shoot / there)
            self.lies[place] = there

    def renames_a_folder(self) -> None:
        folder = self.shoot / "0001_burst_5"
        if folder.is_dir() and not any(each.startswith("0001_burst_5/") for each in self.edited):
            folder.rename(self.shoot / "all the limpets")
            for place, there in self.lies.items():
                if there.startswith("0001_burst_5/"):
                    self.lies[place] = f"all the limpets/{there.partition('/')[2]}"


@pytest.fixture(scope="module")
def carried(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A burst of five with sidecars, of which three are equal, and two lone frames."""
    base = tmp_path_factory.mktemp("pool")
    for number in range(1, 6):
        path = base / "card" / LIMPETS / f"IMG_{number:04d}.JPG"
        picture(path, 0.25 * number, shade=20 * number)
        text = "<x:xmpmeta/>" if number < 4 else f"<x:xmpmeta>limpet {number}</x:xmpmeta>"
        path.with_suffix(".xmp").write_text(text)
    for number in (6, 7):
        picture(base / "card" / LIMPETS / f"IMG_{number:04d}.JPG", 300 * number, shade=number)
    stamped(base / "card")
    ingest(base / "card", base / "shoot")
    return base


@pytest.fixture(params=SEEDS)
def owner(carried: Path, tmp_path: Path, request: pytest.FixtureRequest) -> Owner:
    shoot = shutil.copytree(carried / "shoot", tmp_path / "shoot")
    known = {path: data for path, data in contents(shoot).items() if path not in RECORDS}
    own = Owner(shoot=shoot, chance=random.Random(request.param), known=known)
    own.does(own.chance.randrange(1, 14))
    return own


def sound_places(findings: Findings) -> Iterator[tuple[str, str]]:
    """For each file that is whole: the place that the ledger has, and where it is said to lie."""
    for number, entry in findings.sound.items():
        old = findings.moved.get(number, entry)
        yield old.row.destination, entry.row.destination


def test_the_account_is_exact(owner: Owner) -> None:
    findings, there = found(owner.shoot), contents(owner.shoot)
    told = dict(sound_places(findings))
    # Whatever is called whole lies where it is said to, once, and what lies in its place is not given up.
    assert len({*told.values()}) == len(told)
    for place, path in told.items():
        assert there[path] == owner.known[place]
        if there.get(place) == owner.known[place]:
            assert path == place
    # Every file that the owner knows to be somewhere is whole; equal ones stand for one another.
    for place in owner.lies.keys() - owner.edited:
        assert place in told or is_equal_to_another(owner, place), place
    singular = {p for p in owner.known if not is_equal_to_another(owner, p)}
    for place in singular & owner.lies.keys() - owner.edited:
        copies = [path for path, data in there.items() if data == owner.known[place]]
        assert told[place] in copies
        if len(copies) == 1:
            assert told[place] == owner.lies[place]
    # What is nowhere is missing or changed; what was edited in its place is not called missing.
    bad = {*findings.missing, *findings.changed}
    for place in singular & owner.gone:
        copied = any(data == owner.known[place] for data in there.values())
        assert copied or place in bad
    for place in owner.edited & owner.lies.keys():
        assert place in bad or place in findings.edited or place in findings.unreadable
        assert place not in findings.missing
    # Everything in the folder is accounted for: known, changed, edited, ours or added.
    spoken_for = {*told.values(), *findings.changed, *findings.edited, *findings.added} | RECORDS
    assert spoken_for == {*there}
    assert not {*findings.added} & {*told.values()}
    assert len({*told} | bad | {*findings.edited} - RECORDS) == len(owner.known)


def is_equal_to_another(owner: Owner, place: str) -> bool:
    return sum(data == owner.known[place] for data in owner.known.values()) > 1


def test_what_was_moved_is_in_its_place_once_that_is_noted(owner: Owner) -> None:
    before, first = contents(owner.shoot), found(owner.shoot)
    with Verification(owner.shoot, adopts=True) as work:
        work.inspect(lambda *_: None)
        work.adopt()
    after = contents(owner.shoot)
    assert {p: d for p, d in after.items() if p not in RECORDS} == {
        p: d for p, d in before.items() if p not in RECORDS
    }
    again = found(owner.shoot)
    assert again.moved == {}
    assert {*again.sound} == {*first.sound}
    places = sorted(e.row.destination for e in first.sound.values())
    assert sorted(e.row.destination for e in again.sound.values()) == places
    assert (again.edited, again.added) == (
        [path for path in first.edited if path not in RECORDS],
        first.added,
    )
    assert {*again.lost} == {*first.lost}
    assert {*again.altered} == {*first.altered}
    listed = [place for place in destinations(owner.shoot).values() if place]
    assert len({*listed}) == len(listed) == len(owner.known)


def test_a_repeated_ingest_after_it_carries_only_what_is_lacking(
    owner: Owner, carried: Path
) -> None:
    with Verification(owner.shoot, adopts=True) as work:
        (each,) = work.inspect(lambda *_: None)
        work.adopt()
    sound = {*each.findings.sound}
    report = ingest(carried / "card", owner.shoot)
    assert not {entry.number for entry in report.new} & sound
    findings = found(owner.shoot)
    assert (findings.missing, findings.changed) == ([], [])
