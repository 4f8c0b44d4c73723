"""A plan is a value: shown, kept, and carried out as it is, now or in a later session, or refused."""

from __future__ import annotations

import errno
import json
import os
import pickle
import shutil
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeAlias

import pytest

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot, CardNotFound, NoRoom, PlanOutdated, ShootNotWritable
from sorter.model.correction import Correction
from sorter.model.kinds import Kind
from sorter.model.plan import ContentCheck, Entry
from sorter.pipeline import Ingest, IngestOptions, IngestPlan, Report
from sorter.pipeline.backup import Backup
from sorter.settings import Settings
from sorter.writing.ledger import Ledger
from writing.cards import (
    ANEMONES,
    LIMPETS,
    QUIET,
    STAMP_NS,
    contents,
    hold_whole,
    ingest,
    limpets,
    picture,
    rows,
    tide_card,
    undo,
)
from writing.faults import other_devices, other_disks
from writing.regrouping import regrouped, wish

FIRST = f"{LIMPETS}/IMG_0001.JPG"
LATE = f"{ANEMONES}/IMG_0005.JPG"


@pytest.fixture
def card(tmp_path: Path) -> Path:
    return tide_card(tmp_path / "card")


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    return tmp_path / "pool" / "shoot"


@pytest.fixture
def other(tmp_path: Path) -> Path:
    return tmp_path / "second" / "shoot"


def planned(card: Path, shoot: Path, **options: object) -> IngestPlan:
    """A plan, made in a session of its own that carries nothing out."""
    with Ingest(card, shoot, IngestOptions(**options)) as work:  # type: ignore[arg-type]
        return work.inspect(QUIET, hold=False)


@cache
def _late() -> bytes:
    with TemporaryDirectory() as folder:
        return picture(Path(folder) / "IMG_0005.JPG", 1200).read_bytes()


def late(card: Path) -> None:
    """One more frame comes onto the card, the same each time."""
    (card / LATE).parent.mkdir(parents=True, exist_ok=True)
    (card / LATE).write_bytes(_late())
    os.utime(card / LATE, ns=(STAMP_NS, STAMP_NS))


def kept(plan: IngestPlan) -> IngestPlan:
    """The plan as a later session has it."""
    there: IngestPlan = pickle.loads(pickle.dumps(plan))  # noqa: S301  our own
    assert there == plan
    return there


def carried(plan: IngestPlan) -> Report:
    """The plan carried out in a session that did not make it."""
    with Ingest.of(plan) as work:
        return work.carry(plan, QUIET)


def stopped(card: Path, shoot: Path, patch: pytest.MonkeyPatch, **options: object) -> None:
    """An ingest whose disk is full at the third file that comes to its place."""
    left = [3]

    def full_at_the_third(real: Callable[..., None]) -> Callable[..., None]:
        def verb(*given: object) -> None:
            left[0] -= 1
            if not left[0]:
                raise OSError(errno.ENOSPC, "the pool is full")
            real(*given)

        return verb

    with patch.context() as at:
        for verb in ("place", "take"):
            at.setattr(Shoot, verb, full_at_the_third(getattr(Shoot, verb)))
        with pytest.raises(NoRoom):
            raise ingest(card, shoot, **options).failures[0]  # type: ignore[arg-type]


def no_change(*folders: Path) -> dict[str, bytes | None]:
    """All that lies in the folders, the ledgers too."""
    return {
        str(path): path.read_bytes() if path.is_file() else None
        for folder in folders
        for path in sorted((folder, *folder.rglob("*")))
        if path.name != "holder"
    }


# ---- inspect changes nothing, and carry carries out what was shown ------------------------------


def test_a_dry_run_makes_the_plan_that_a_run_carries_out(card: Path, shoot: Path) -> None:
    dry = planned(card, shoot)
    assert not shoot.exists()
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=True)
        assert plan == dry
        assert repr(plan) == repr(dry)
        report = work.carry(plan, QUIET)
    assert report.plans == (dry,)
    way = {each.row.source: each.row.destination for each in dry.waiting}
    assert {each.row.source: each.row.destination for each in report.new} == way


Asked: TypeAlias = dict[str, Any]
Course: TypeAlias = Callable[[Path, Path, Path, pytest.MonkeyPatch], Asked]
"""What was done before the plan: given card, shoot, second copy; returns the wishes for the plan."""


def nothing(_card: Path, _shoot: Path, _other: Path, _patch: pytest.MonkeyPatch) -> Asked:
    return {}


def a_move(*_: object) -> Asked:
    return {"moves": True}


def two_copies(_card: Path, _shoot: Path, other: Path, _: pytest.MonkeyPatch) -> Asked:
    return {"backup": other, "rereads": True, "name": "west pool"}


def an_ingest_of_a_part(card: Path, shoot: Path, _: Path, __: pytest.MonkeyPatch) -> Asked:
    ingest(card, shoot)
    late(card)
    return {}


def a_second_copy_that_lacks_all(
    card: Path, shoot: Path, other: Path, __: pytest.MonkeyPatch
) -> Asked:
    an_ingest_of_a_part(card, shoot, other, __)
    return {"backup": other}


def copies_gone_and_spoiled(card: Path, shoot: Path, other: Path, _: pytest.MonkeyPatch) -> Asked:
    ingest(card, shoot, backup=other)
    for folder, name in ((shoot, "IMG_0001"), (other, "IMG_0002")):
        one, *_rest = sorted(folder.rglob(f"{name}.JPG"))
        one.unlink()
        two, *_rest = sorted(folder.rglob(f"{name}.xmp"))
        two.write_text("an anemone")
    (next(shoot.rglob("IMG_0003.JPG"))).write_bytes(b"a crab")
    return {"backup": other}


def a_stopped_copy(card: Path, shoot: Path, _: Path, patch: pytest.MonkeyPatch) -> Asked:
    stopped(card, shoot, patch)
    return {}


def a_stopped_copy_of_a_card_that_grew(
    card: Path, shoot: Path, _: Path, patch: pytest.MonkeyPatch
) -> Asked:
    stopped(card, shoot, patch)
    late(card)
    return {}


def a_stopped_move(card: Path, shoot: Path, _: Path, patch: pytest.MonkeyPatch) -> Asked:
    stopped(card, shoot, patch, moves=True)
    return {}


COURSES: list[Course] = [
    nothing,
    a_move,
    two_copies,
    an_ingest_of_a_part,
    a_second_copy_that_lacks_all,
    copies_gone_and_spoiled,
    a_stopped_copy,
    a_stopped_copy_of_a_card_that_grew,
    a_stopped_move,
]


@pytest.mark.parametrize("far", [False, True], ids=["one disk", "two disks"])
@pytest.mark.parametrize("course", COURSES, ids=lambda course: course.__name__)
def test_a_plan_of_an_earlier_session_does_what_an_ingest_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, course: Course, *, far: bool
) -> None:
    if far:
        other_devices(monkeypatch)
        other_disks(monkeypatch)
    made, base = tide_card(tmp_path / "made"), tmp_path / "base"
    outcomes = []
    for is_kept in (False, True):
        shutil.rmtree(base, ignore_errors=True)  # both in one place, one after the other
        card, shoot, other = (base / name for name in ("card", "shoot", "second"))
        shutil.copytree(made, card, symlinks=True)
        options = course(card, shoot, other, monkeypatch)
        report = (
            carried(kept(planned(card, shoot, **options)))
            if is_kept
            else ingest(card, shoot, **options)
        )
        outcomes.append((*map(contents, (card, shoot, other)), told(report)))
    direct, later = outcomes
    assert later == direct


def told(report: Report) -> dict[str, object]:
    """What of a report does not tell when its files were listed."""
    said = {
        field.name: getattr(report, field.name)
        for field in fields(report)
        if field.name not in ("plans", "second", "places", "failure")
    }
    paths = {name: _sources(value) for name, value in said.items()}
    second = report.backup
    both = None if second is None else (_sources(second.entries), second.verified, second.is_whole)
    return {**paths, "second": both, "evidence": report.evidence, "is_whole": report.is_whole}


def _sources(value: object) -> object:
    """The entries by what the ledger says of them, but for the stamp of a card that was made twice."""
    if isinstance(value, tuple):
        return tuple(_sources(each) for each in value)
    if isinstance(value, Entry):
        return (value.number, value.row, value.state, value.gone)
    return value


def test_a_stopped_plan_and_the_one_that_followed_it_are_both_told_of(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = Correction(first=FIRST, last=FIRST, kind=Kind.MARKER, line=2)
    stopped(card, shoot, monkeypatch)
    late(card)
    plan = planned(card, shoot, corrections=(asked,))
    assert plan.goes_on is not None
    assert plan.too_late == ()
    before = pickle.dumps(plan)
    report = carried(plan)
    assert pickle.dumps(plan) == before
    first, following = report.plans
    assert first == plan
    assert following.goes_on is None
    assert [each.row.source for each in following.waiting] == [LATE]
    assert report.too_late == following.too_late == (asked,)
    sources = {each.row.source for each in (*plan.waiting, *following.waiting)}
    assert {entry.row.source for entry in report.new} == sources
    hold_whole(shoot, contents(card))


@pytest.mark.parametrize("course", COURSES, ids=lambda course: course.__name__)
def test_carrying_does_not_change_the_plan(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch, course: Course
) -> None:
    options = course(card, shoot, other, monkeypatch)
    with Ingest(card, shoot, IngestOptions(**options)) as work:
        plan = work.inspect(QUIET, hold=True)
        before, said = pickle.dumps(plan), (repr(plan), plan.to_dict())
        work.carry(plan, QUIET)
    assert pickle.dumps(plan) == before
    assert (repr(plan), plan.to_dict()) == said


# ---- a plan that does not fit any more ----------------------------------------------------------


def a_new_file(card: Path, _shoot: Path, _other: Path) -> None:
    late(card)


def a_file_less(card: Path, _shoot: Path, _other: Path) -> None:
    (card / FIRST).unlink()


def all_files_less(card: Path, _shoot: Path, _other: Path) -> None:
    shutil.rmtree(card)
    card.mkdir()


def another_stamp(card: Path, _shoot: Path, _other: Path) -> None:
    os.utime(card / FIRST, ns=(1, 1))


def other_bytes_with_the_old_stamp(card: Path, _shoot: Path, _other: Path) -> None:
    """Only the stamp of the last change tells, which no program sets."""
    about = (card / FIRST).stat()
    data = bytearray((card / FIRST).read_bytes())
    data[-3] ^= 1
    (card / FIRST).write_bytes(data)
    os.utime(card / FIRST, ns=(about.st_atime_ns, about.st_mtime_ns))


def a_link_in_its_place(card: Path, _shoot: Path, _other: Path) -> None:
    (card / FIRST).rename(card.parent / "IMG_0001.JPG")
    (card / FIRST).symlink_to(card.parent / "IMG_0001.JPG")


def a_picture_in_the_trash(card: Path, _shoot: Path, _other: Path) -> None:
    picture(card / ".Trashes" / "501" / "IMG_0009.JPG", 1200)


def another_card(card: Path, shoot: Path, _other: Path) -> None:
    second = card.parent / "other card"
    picture(second / ANEMONES / "IMG_0077.JPG", 9000)
    ingest(second, shoot)


def the_same_ingest(card: Path, shoot: Path, _other: Path) -> None:
    ingest(card, shoot)


CARD_CHANGES = [
    a_new_file,
    a_file_less,
    all_files_less,
    another_stamp,
    other_bytes_with_the_old_stamp,
    a_link_in_its_place,
    a_picture_in_the_trash,
]


@pytest.mark.parametrize("change", [*CARD_CHANGES, another_card, the_same_ingest])
def test_a_plan_that_card_or_shoot_do_not_fit_any_more_is_refused(
    card: Path, shoot: Path, other: Path, change: Callable[[Path, Path, Path], None]
) -> None:
    plan = kept(planned(card, shoot))
    change(card, shoot, other)
    _refused(plan, card, shoot, other)


def _refused(plan: IngestPlan, *folders: Path) -> None:
    before = no_change(*folders)
    with pytest.raises(PlanOutdated, match=r"Nothing was done: make the plan anew\.") as refused:
        carried(plan)
    assert refused.value.exit_code == 2
    assert no_change(*folders) == before


def a_copy_less(_card: Path, shoot: Path, _other: Path) -> None:
    next(shoot.rglob("IMG_0001.JPG")).unlink()


def a_copy_spoiled(_card: Path, shoot: Path, _other: Path) -> None:
    next(shoot.rglob("IMG_0001.JPG")).write_bytes(b"a crab")


def a_sidecar_edited(_card: Path, shoot: Path, _other: Path) -> None:
    next(shoot.rglob("IMG_0001.xmp")).write_text("<x:xmpmeta>an old limpet</x:xmpmeta>")


def a_second_copy_less(_card: Path, _shoot: Path, other: Path) -> None:
    next(other.rglob("IMG_0001.JPG")).unlink()


def an_undo(_card: Path, shoot: Path, _other: Path) -> None:
    undo(shoot)


def a_regrouping(_card: Path, shoot: Path, _other: Path) -> None:
    regrouped(shoot, wish(Kind.MANUAL_STACK, 1, 2, 3, 4))


def a_regrouping_that_moves_nothing(_card: Path, shoot: Path, _other: Path) -> None:
    """Its file keeps its name and its place: only what the ledger says of it is other."""
    (single,) = [row.frame for row in rows(shoot) if row.source == f"{ANEMONES}/IMG_0001.JPG"]
    assert single is not None
    before = {row.source: row.destination for row in rows(shoot)}
    regrouped(shoot, wish(Kind.MARKER, single))
    assert before != {row.source: row.destination for row in rows(shoot)}


def the_second_copy_taken_back(_card: Path, _shoot: Path, other: Path) -> None:
    undo(other)


@pytest.mark.parametrize(
    "change",
    [
        *CARD_CHANGES,
        another_card,
        a_copy_less,
        a_copy_spoiled,
        a_sidecar_edited,
        a_second_copy_less,
        a_regrouping,
        a_regrouping_that_moves_nothing,
        the_second_copy_taken_back,
    ],
)
def test_so_is_a_plan_for_a_shoot_that_holds_the_card_already(
    card: Path, shoot: Path, other: Path, change: Callable[[Path, Path, Path], None]
) -> None:
    """Its copies count as verified only where this run read them."""
    ingest(card, shoot, backup=other)
    plan = kept(planned(card, shoot, backup=other))
    change(card, shoot, other)
    _refused(plan, card, shoot, other)


@pytest.mark.parametrize("change", [an_undo, a_copy_less, a_regrouping])
def test_so_is_one_without_a_second_copy(
    card: Path, shoot: Path, change: Callable[[Path, Path, Path], None]
) -> None:
    ingest(card, shoot)
    late(card)
    plan = kept(planned(card, shoot))
    change(card, shoot, shoot)
    _refused(plan, card, shoot)


def test_a_card_whose_bytes_changed_under_their_stamps_is_refused(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some file systems keep no stamp of the last change (common practice of cards' ones, no source)."""
    ingest(card, shoot)
    monkeypatch.setattr("sorter.model.card._known", lambda file: (file.size, file.modified_ns))
    plan = planned(card, shoot)
    other_bytes_with_the_old_stamp(card, shoot, shoot)
    with pytest.raises(PlanOutdated, match="other bytes"):
        carried(plan)


def other_beginnings_with_the_old_stamp(card: Path) -> None:
    """Another hour in its Exif: what the plan says of it is true no more."""
    about = (card / FIRST).stat()
    data = (card / FIRST).read_bytes()
    (card / FIRST).write_bytes(data.replace(b"2026:05:17", b"2026:05:18"))
    assert (card / FIRST).read_bytes() != data
    os.utime(card / FIRST, ns=(about.st_atime_ns, about.st_mtime_ns))


def a_beginning_that_the_card_does_not_give(card: Path) -> None:
    """Under the old stamps the file is as long as it was, and all its bytes are gone."""
    about = (card / FIRST).stat()
    (card / FIRST).write_bytes(bytes(about.st_size))
    os.utime(card / FIRST, ns=(about.st_atime_ns, about.st_mtime_ns))


@pytest.mark.parametrize("moves", [False, True])
@pytest.mark.parametrize(
    "change", [other_beginnings_with_the_old_stamp, a_beginning_that_the_card_does_not_give]
)
def test_so_is_one_whose_new_files_begin_otherwise_now(
    card: Path,
    shoot: Path,
    monkeypatch: pytest.MonkeyPatch,
    change: Callable[[Path], None],
    *,
    moves: bool,
) -> None:
    """They were sorted by what they said then."""
    monkeypatch.setattr("sorter.model.card._known", lambda file: (file.size, file.modified_ns))
    plan = planned(card, shoot, moves=moves)
    change(card)
    _refused(plan, card, shoot)


def test_a_stopped_plan_whose_copies_were_spoiled_since_is_refused(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stopped(card, shoot, monkeypatch)
    plan = planned(card, shoot)
    (placed, *_) = [path for path in contents(shoot) if path.endswith((".JPG", ".xmp"))]
    (shoot / placed).write_bytes(b"a crab")
    _refused(plan, card, shoot)


def test_what_says_verified_was_read_in_the_run_that_says_so(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(card, shoot)
    plan = planned(card, shoot)
    assert dict(plan.compared.held)
    monkeypatch.setattr(Shoot, "holds", lambda *_: ContentCheck.PERHAPS)
    report = carried(plan)
    assert report.unsure == report.verified == plan.there == len(plan.compared.held)


def test_a_plan_is_carried_out_once(card: Path, shoot: Path) -> None:
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=True)
        work.carry(plan, QUIET)
        before = no_change(card, shoot)
        with pytest.raises(PlanOutdated, match="other work was done here"):
            work.carry(plan, QUIET)
        assert no_change(card, shoot) == before
    hold_whole(shoot, contents(card))


def test_a_dry_run_may_go_on_to_carry(card: Path, shoot: Path) -> None:
    """The ledger is not held meanwhile: so the plan is looked at again."""
    ingest(card, shoot)
    late(card)
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=False)
        report = work.carry(plan, QUIET)
    assert [entry.row.source for entry in report.new] == [LATE]
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=False)
        another_card(card, shoot, shoot)
        with pytest.raises(PlanOutdated):
            work.carry(plan, QUIET)


@pytest.mark.parametrize("what", ["card", "shoot", "options"])
def test_a_plan_for_something_else_is_refused(card: Path, shoot: Path, what: str) -> None:
    plan = planned(card, shoot)
    given = {"card": card, "shoot": shoot, "options": IngestOptions(moves=what == "options")}
    if what == "card":
        given[what] = shutil.copytree(card, card.parent / "twin")
    elif what == "shoot":
        given[what] = shoot.parent / "another"
    with Ingest(**given) as work, pytest.raises(PlanOutdated, match="is for another card"):  # type: ignore[arg-type]
        work.carry(plan, QUIET)
    assert not shoot.exists()


def test_a_plan_whose_card_is_out_says_so(card: Path, shoot: Path) -> None:
    plan = planned(card, shoot)
    shutil.rmtree(card)
    with pytest.raises(CardNotFound):
        carried(plan)
    assert not shoot.exists()


def test_what_a_second_copy_has_against_it_stands_in_the_plan(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def locked(*_: object, **__: object) -> None:
        raise ShootNotWritable(f"{other}: a disk that is locked.")

    ingest(card, shoot, backup=other)
    late(card)
    monkeypatch.setattr("sorter.pipeline.backup.Ledger", locked)
    plan = kept(planned(card, shoot, backup=other))
    second: Any = plan.to_dict()["second"]
    says = f"{other}: a disk that is locked."
    assert second["failure"] == {"kind": "ShootNotWritable", "says": says}
    report = carried(plan)
    assert [entry.row.source for entry in report.new] == [LATE]
    assert report.backup is not None
    assert isinstance(report.backup.failure, ShootNotWritable)
    monkeypatch.undo()
    _refused(plan, card, shoot, other)


def test_what_came_in_the_way_since_is_refused_before_anything_is_written(
    card: Path, shoot: Path
) -> None:
    plan = planned(card, shoot)
    shoot.mkdir(parents=True)
    (shoot / "singles").write_text("limpet, anemone")
    before = no_change(card, shoot)
    with pytest.raises(BadShoot, match="singles"):
        carried(plan)
    assert no_change(card, shoot) == before


# ---- what it is ---------------------------------------------------------------------------------


def _parts(value: object) -> Iterator[object]:
    yield value
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _parts(getattr(value, field.name))
    elif isinstance(value, dict):
        yield from (part for pair in value.items() for each in pair for part in _parts(each))
    elif isinstance(value, list | tuple | set | frozenset):
        yield from (part for each in value for part in _parts(each))


@pytest.mark.parametrize("course", COURSES, ids=lambda course: course.__name__)
def test_a_plan_holds_nothing_open(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch, course: Course
) -> None:
    options = course(card, shoot, other, monkeypatch)
    plan = planned(card, shoot, **options)
    for part in _parts(plan):
        assert not isinstance(part, Card | Shoot | Ledger | Backup)
        assert not callable(part) or isinstance(part, type)
    assert kept(plan).to_dict() == plan.to_dict()


def test_a_plan_is_frozen(card: Path, shoot: Path) -> None:
    plan = planned(card, shoot)
    for field in fields(plan):
        with pytest.raises(AttributeError):
            setattr(plan, field.name, None)
    with pytest.raises((AttributeError, TypeError)):
        plan.limpets = 4  # type: ignore[attr-defined]


def test_it_prints_in_one_short_line(tmp_path: Path) -> None:
    card = limpets(tmp_path / ("tide" * 40) / "card", 9)
    shoot = tmp_path / ("pool" * 40) / ("rock" * 40) / "shoot"
    plan = planned(card, shoot, backup=tmp_path / ("second" * 40))
    assert str(plan) == repr(plan)
    assert "\n" not in repr(plan)
    assert len(repr(plan)) < 700
    said = f"waiting=18, bytes={sum(each.row.bytes for each in plan.waiting)}, there=0)"
    assert repr(plan).endswith(said)


# ---- as JSON ------------------------------------------------------------------------------------

SCHEMA = {
    "": "form card shoot basis moves repeats goes_on waits_elsewhere wishes files bytes waiting updated "
    "left stored there staying astray finishing unread compared too_late suggested thrown_away listing second",
    "wishes": "folder name corrections moves looks backup rereads clock clock_asked grouping"
    " most_megapixels",
    "wishes.grouping": "hand_pause_s apart_s unsure_below",
    "wishes.corrections": "line first last kind name why",
    "waiting": "number source destination frame sequence kind position frames planned role captured "
    "camera serial lens focal_length_mm f_number exposure_time_s iso exposure_bias_ev flash focus_mode "
    "drive_mode focus_near_m focus_far_m bytes sha256 grounds notes container from_near said unread mark",
    "compared": "there failed missing changed edited closed held original other",
    "compared.there": "path number run source destination bytes sha256 state",
    "goes_on": "run card mounted moves two state",
    "listing": "files litter folders_closed thrown aside shoots",
    "listing.files": "path bytes modified_ns changed_ns obstacle plain recovered",
    "second": "folder basis failure lacking ahead compared",
    "second.lacking": "number run source destination bytes sha256 state",
    "second.compared": "there failed missing changed edited closed held original other",
}
"""The names in each object, in form 1; of a list, in each object of it."""


def _at(whole: dict[str, Any], place: str) -> dict[str, Any]:
    found: Any = whole
    for name in filter(None, place.split(".")):
        found = found[name]
        found = found[0] if isinstance(found, list) else found
    assert isinstance(found, dict)
    return found


def test_its_names_as_json_are_those_of_form_one(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = Correction(first=FIRST, last=FIRST, kind=Kind.MARKER, line=2)
    stopped(card, shoot, monkeypatch)
    whole = planned(card, shoot, backup=other, corrections=(said,)).to_dict()
    assert whole["form"] == 1
    for place, names in SCHEMA.items():
        assert list(_at(whole, place)) == names.split(), place


def test_it_says_in_json_what_it_says_itself(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    next(shoot.rglob("IMG_0002.JPG")).unlink()
    late(card)
    plan = planned(card, shoot, settings=Settings(clock={"0417": 60}), moves=True)
    whole: dict[str, Any] = json.loads(json.dumps(plan.to_dict(), allow_nan=False))
    assert whole == plan.to_dict()
    assert [each["source"] for each in whole["waiting"]] == [
        each.row.source for each in plan.waiting
    ]
    assert whole["waiting"][0]["number"] is not None
    assert whole["waiting"][-1]["number"] is None
    assert whole["files"] == len(plan.waiting)
    assert whole["bytes"] == sum(each.row.bytes for each in plan.waiting)
    assert (whole["there"], whole["staying"]) == (plan.there, plan.staying)
    assert whole["moves"] is plan.would_move is True
    assert set(whole["compared"]["held"].values()) <= {"sure", "perhaps"}


@pytest.mark.parametrize("course", COURSES, ids=lambda course: course.__name__)
def test_it_is_made_of_plain_values_of_json(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch, course: Course
) -> None:
    options = course(card, shoot, other, monkeypatch)
    plan = planned(card, shoot, **options)
    plain = {str, int, float, bool, type(None), list, dict}
    assert {type(part) for part in _parts(plan.to_dict())} <= plain


def test_bytes_that_are_no_text_are_spelled_as_in_the_manifest(card: Path, shoot: Path) -> None:
    name = os.fsdecode(b"IMG_\xe9_0009.JPG")
    picture(card / LIMPETS / "IMG_0009.JPG", 1200).rename(card / LIMPETS / name)
    text = json.dumps(planned(card, shoot).to_dict(), ensure_ascii=False)
    assert text.encode()  # no surrogates
    assert r"IMG_\\xe9_0009.JPG" in text
