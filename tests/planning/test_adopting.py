"""Where files lie that were moved within a shoot, told by digests alone: which place is whose."""

from __future__ import annotations

from dataclasses import replace

from handoff import pools
from sorter.model.kinds import Role
from sorter.model.moved import Relocation, relocations
from sorter.model.note import Note, Renamed, WhyRenamed
from sorter.model.plan import Entry
from sorter.planning.adopting import (
    adoptions,
    displaced,
    edited_alongside,
    respelled,
    taken_back,
    whereabouts,
)

SAME = "same"
"""The digest of files that are equal: sidecars often are."""


def entry(
    path: str,
    *,
    number: int,
    sha256: str = "",
    role: Role = Role.OTHER,
    said: tuple[Note, ...] = (),
) -> Entry:
    """A file in its place."""
    made = pools.entry(path, role=role)
    row = replace(made.row, sha256=sha256)
    return replace(
        made, number=number, placement=replace(made.placement, row=row, carrying_notes=said)
    )


def files(**places: str) -> dict[str, Entry]:
    """An entry for each place, by the digest that it has; digests that begin with `same` are one."""
    return {
        name: entry(path, number=number, sha256=SAME if name.startswith(SAME) else name)
        for number, (name, path) in enumerate(places.items(), 1)
    }


def told(
    known: dict[str, Entry], lying: dict[str, str], spoiled: tuple[str, ...] = ()
) -> dict[str, str]:
    """Where each file of the names lies; spoiled: the names of those in whose places others are."""
    missing = [each for name, each in known.items() if name not in spoiled]
    out = displaced(missing, [known[name] for name in spoiled], lying)
    places = {each.row.destination for each in known.values()}
    here = {each.row.destination for each in out}
    digests = {path: sha for path, sha in lying.items() if path not in places or path in here}
    found = whereabouts(missing, out, digests)
    names = {each.number: name for name, each in known.items()}
    return {names[number]: path for number, path in found.items()}


def test_a_file_is_known_again_by_its_bytes() -> None:
    known = files(limpet="a/1.jpg", whelk="a/2.jpg")
    lying = {"b/9.jpg": "limpet", "b/2.jpg": "barnacle"}
    assert told(known, lying) == {"limpet": "b/9.jpg"}


def test_equal_files_keep_their_names() -> None:
    known = files(same1="a/1.xmp", same2="a/2.xmp", same3="a/3.xmp")
    lying = dict.fromkeys(("b/3.xmp", "b/1.xmp", "b/2.xmp"), SAME)
    assert told(known, lying) == {"same1": "b/1.xmp", "same2": "b/2.xmp", "same3": "b/3.xmp"}


def test_equal_files_of_equal_names_go_where_their_folder_went() -> None:
    known = files(same1="a/1.xmp", same2="b/1.xmp", limpet="a/1.jpg", whelk="b/1.jpg")
    lying = {"y/1.jpg": "limpet", "x/1.jpg": "whelk", "x/1.xmp": SAME, "y/1.xmp": SAME}
    assert told(known, lying) == {
        "limpet": "y/1.jpg",
        "whelk": "x/1.jpg",
        "same1": "y/1.xmp",
        "same2": "x/1.xmp",
    }


def test_equal_files_of_other_names_go_where_their_folder_went() -> None:
    known = files(same1="a/1.xmp", same2="b/2.xmp", limpet="a/1.jpg", whelk="b/2.jpg")
    lying = {"y/9.jpg": "limpet", "x/8.jpg": "whelk", "x/8.xmp": SAME, "y/9.xmp": SAME}
    assert told(known, lying)["same1"] == "y/9.xmp"
    assert told(known, lying)["same2"] == "x/8.xmp"


def test_where_nothing_tells_them_apart_order_does() -> None:
    known = files(same1="a/1.xmp", same2="a/2.xmp")
    assert told(known, {"b/8.xmp": SAME, "b/9.xmp": SAME}) == {
        "same1": "b/8.xmp",
        "same2": "b/9.xmp",
    }


def test_a_place_is_of_one_file_alone() -> None:
    known = files(same1="a/1.xmp", same2="a/2.xmp")
    assert told(known, {"b/1.xmp": SAME}) == {"same1": "b/1.xmp"}


def test_two_files_that_changed_places() -> None:
    known = files(limpet="a/1.jpg", whelk="a/2.jpg")
    lying = {"a/1.jpg": "whelk", "a/2.jpg": "limpet"}
    assert told(known, lying, ("limpet", "whelk")) == {"limpet": "a/2.jpg", "whelk": "a/1.jpg"}


def test_three_in_a_ring() -> None:
    known = files(limpet="a/1", whelk="a/2", crab="a/3")
    lying = {"a/1": "crab", "a/2": "limpet", "a/3": "whelk"}
    found = told(known, lying, ("limpet", "whelk", "crab"))
    assert found == {"crab": "a/1", "limpet": "a/2", "whelk": "a/3"}


def test_files_that_moved_up_when_the_first_was_deleted() -> None:
    """1 is gone, 2 is called 1 and 3 is called 2: as programs number anew."""
    known = files(limpet="a/1", whelk="a/2", crab="a/3")
    lying = {"a/1": "whelk", "a/2": "crab"}
    assert told(known, lying, ("limpet", "whelk")) == {"whelk": "a/1", "crab": "a/2"}


def test_a_spoiled_file_with_a_copy_elsewhere_stays_spoiled() -> None:
    """Damage is not to be told as the owner's doing, though a copy of the file lies elsewhere."""
    known = files(limpet="a/1.jpg")
    assert told(known, {"a/1.jpg": "rot", "best/1.jpg": "limpet"}, ("limpet",)) == {}


def test_a_file_overwritten_with_a_copy_of_one_that_is_in_its_place_is_spoiled() -> None:
    known = files(limpet="a/1.jpg")
    assert told(known, {"a/1.jpg": "whelk"}, ("limpet",)) == {}


def test_a_disk_that_gives_the_right_bytes_the_second_time_moved_nothing() -> None:
    known = files(same1="a/1.xmp", same2="a/2.xmp")
    assert told(known, {"a/1.xmp": SAME}, ("same1",)) == {}


def test_what_nobody_has_is_taken_before_the_place_of_another() -> None:
    known = files(limpet="a/1.jpg", whelk="c/2.jpg")
    lying = {"c/2.jpg": "limpet", "z.jpg": "limpet", "best/2.jpg": "whelk"}
    assert told(known, lying, ("whelk",)) == {"limpet": "z.jpg", "whelk": "best/2.jpg"}


def test_many_equal_files_take_no_more_than_a_moment() -> None:
    """Ten thousand equal sidecars in folders that were all moved into one."""
    known = {f"same{n}": entry(f"{n:05d}/1.xmp", number=n, sha256=SAME) for n in range(1, 10_001)}
    lying = {f"all/{n:05d}.xmp": SAME for n in range(1, 10_001)}
    found = told(known, lying)
    assert len(set(found.values())) == 10_000


# ---- without a digest --------------------------------------------------------------------------


def test_another_spelling_is_told_by_what_file_systems_take_for_one() -> None:
    places = {1: "Pool/caf\u00e9.JPG", 2: "pool/b.jpg"}
    unknown = ["pool/cafe\u0301.jpg", "other/b.jpg"]
    assert respelled(places, unknown) == {1: "pool/cafe\u0301.jpg"}


def test_an_edited_sidecar_stands_beside_its_picture() -> None:
    sidecars = [
        entry(path, number=number, role=Role.SIDECAR)
        for number, path in enumerate(("a/1.xmp", "a/2.jpg.xmp", "a/3.xmp", "a/4.xmp"), 1)
    ]
    moved = [("a/1.jpg", "b/1.jpg"), ("a/2.jpg", "limpet.jpg"), ("a/3.jpg", "b/3.jpg")]
    unknown = {"b/1.xmp", "limpet.jpg.xmp", "c/3.xmp", "b/4.xmp"}
    assert edited_alongside(sidecars, moved, unknown) == {1: "b/1.xmp", 2: "limpet.jpg.xmp"}


def test_a_picture_that_was_edited_and_moved_is_not_guessed() -> None:
    picture = entry("a/1.jpg", number=1, role=Role.IMAGE)
    assert edited_alongside([picture], [("a/1.cr3", "b/1.cr3")], {"b/1.jpg"}) == {}


# ---- noting it ---------------------------------------------------------------------------------


def noted(
    known: dict[str, Entry], moved: dict[str, str], lost: tuple[str, ...] = ()
) -> dict[str, str]:
    changes = adoptions(
        tuple(known.values()),
        {known[name].number: path for name, path in moved.items()},
        [known[name].number for name in lost],
        moved.values(),
    )
    names = {each.number: name for name, each in known.items()}
    for change in changes:
        assert change.before == known[names[change.number]].placement
    return {names[change.number]: change.after.row.destination for change in changes}


def test_places_are_changed_at_once() -> None:
    known = files(limpet="a/1", whelk="a/2", crab="a/3")
    assert noted(known, {"limpet": "a/2", "whelk": "a/1"}) == {"limpet": "a/2", "whelk": "a/1"}


def test_who_is_nowhere_and_whose_place_is_taken_gets_one_beside_it() -> None:
    known = files(limpet="a/1.jpg", whelk="a/2.jpg", crab="a/1_2.JPG")
    found = noted(known, {"whelk": "a/1.jpg"}, ("limpet",))
    assert found == {"whelk": "a/1.jpg", "limpet": "a/1_3.jpg"}


def test_a_name_that_is_no_text_is_not_noted_and_neither_is_who_has_its_place() -> None:
    known = files(limpet="a/1", whelk="a/2", crab="a/3")
    moved = {"limpet": "a/\udcff", "whelk": "a/1", "crab": "b/3"}
    assert noted(known, moved) == {"crab": "b/3"}


def test_what_was_said_of_a_name_is_said_no_more_of_another() -> None:
    said = (Renamed(name="1_2.jpg", why=WhyRenamed.TAKEN), "seems damaged")
    old = entry("a/1_2.jpg", number=1, said=said)
    renamed, moved = (
        adoptions([old], {1: path}, [], ())[0].after for path in ("a/x.jpg", "b/1_2.jpg")
    )
    assert renamed.carrying_notes == ("seems damaged",)
    assert moved.carrying_notes == said


def test_an_adoption_is_taken_back_and_what_was_said_since_stays() -> None:
    said = (Renamed(name="1_2.jpg", why=WhyRenamed.TAKEN),)
    known = (entry("a/1_2.jpg", number=1, said=said), entry("a/2.jpg", number=2))
    changes = adoptions(known, {1: "a/2.jpg", 2: "b/whelk.jpg"}, [], [])
    now = {change.number: change.after for change in changes}
    entries = [replace(each, placement=now[each.number]) for each in known]
    back = taken_back(entries, changes)
    assert {each.number: each.after for each in back} == {e.number: e.placement for e in known}
    heard = replace(entries[0], placement=replace(now[1], carrying_notes=("seems damaged",)))
    elsewhere = entry("c/2.jpg", number=2)
    (only,) = taken_back([heard, elsewhere], changes)
    assert only.after.carrying_notes == (*said, "seems damaged")
    assert only.after.row.destination == "a/1_2.jpg"


# ---- as few moves ------------------------------------------------------------------------------


def test_a_folder_that_went_as_a_whole_is_one_move() -> None:
    ways = {"a/1": "b/1", "a/2": "b/2", "c/1": "d/e/1", "c/2": "d/e/2", "f/1": "b/3"}
    assert relocations(ways, ["g/1"]) == (
        Relocation(before="a/", after="b/", files=2, is_folder=True),
        Relocation(before="c/", after="d/e/", files=2, is_folder=True),
        Relocation(before="f/1", after="b/3"),
    )


def test_a_folder_that_went_in_part_is_told_file_by_file() -> None:
    ways = {"a/1": "b/1", "a/2": "b/2"}
    for others, more in (
        (["a/3"], {}),
        ([], {"a/3": "c/3"}),
        ([], {"a/3": "b/4"}),
    ):
        assert not any(each.is_folder for each in relocations({**ways, **more}, others))


def test_to_and_from_the_top_of_the_shoot_goes_no_folder() -> None:
    assert not any(each.is_folder for each in relocations({"a/1": "1", "a/2": "2"}, []))
    assert not any(each.is_folder for each in relocations({"1": "a/1", "2": "a/2"}, []))
