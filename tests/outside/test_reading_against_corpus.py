"""The reader against general-purpose libraries on real files: see outside/comparison.py.

The files come from package registries (scripts/fetch_corpus), never from us; the references are
exiftool, exifread and exiv2, which share no code with the sorter. A difference is a fault, or it
stands in known_differences.csv with who is right and why. scripts/compare_corpus prints the figures.
"""

from __future__ import annotations

import pytest

from corpusmaking.unpacking import BARE_MARK
from outside import corpus, fields
from outside.comparison import (
    EXIFTOOL,
    KNOWN_TO,
    NOBODY,
    RULES,
    Case,
    cases,
    differences,
    rule_for,
    table,
)
from outside.figures import Figure, figures
from sorter.reading import cards

PAIRS = [(reference, field) for reference, known in KNOWN_TO.items() for field in known]
LEAST_SAME = 0.99
LEAST_SAME_OF_A_FIELD = 0.95
LEAST_KNOWN = {fields.PICTURE: 600, fields.SUBSECONDS: 60, fields.OFFSET: 20, fields.LENS: 80,
               fields.NEAR: 80, fields.FAR: 80}  # fmt: skip
"""How many values exiftool knows at least of each field: fewer means that it was not asked."""
LEAST_KNOWN_OF_OTHERS = 150


@pytest.fixture(autouse=True)
def _needed() -> None:
    corpus.need()


def listed(found: list[Case]) -> str:
    return "\n".join(",".join(case.line) for case in found)


# ---- every file --------------------------------------------------------------------------------


def test_every_file_is_read_and_none_of_them_is_beyond_the_readers() -> None:
    """Damaged and crafted files too; a note tells of an exception that was caught."""
    there = {
        path.relative_to(corpus.FOLDER).as_posix()
        for path in corpus.FOLDER.rglob("*")
        if path.is_file()
    }
    there = {path for path in there if not path.startswith(corpus.DEPTH)}
    read = corpus.readings()
    assert len(there) > 900
    assert read.keys() == there
    assert [path for path in read if cards.NOT_UNDERSTOOD in read[path].notes] == []


def test_a_picture_by_its_name_that_is_none_is_said_so() -> None:
    silent = [
        path
        for path, read in corpus.readings().items()
        if not read.is_picture and read.file.size and read.role in {"raw", "image"}
        if not read.notes
    ]
    assert silent == []


def test_bare_metadata_are_no_picture() -> None:
    bare = [
        path
        for path in corpus.readings()
        if (corpus.FOLDER / path).read_bytes().startswith(BARE_MARK)
    ]
    assert len(bare) == 131  # 128 named .exv, three under other names
    assert [path for path in bare if corpus.readings()[path].is_picture] == []


# ---- values ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("reference", "field"), PAIRS)
def test_no_value_differs_but_for_a_known_reason(reference: str, field: str) -> None:
    unexplained = [
        case
        for case in differences()
        if (case.reference, case.field) == (reference, field) and case.line not in table()
    ]
    assert not unexplained, f"file,field,reference,theirs,ours\n{listed(unexplained)}"


@pytest.mark.parametrize("field", [field for field in fields.FIELDS if field != fields.PICTURE])
def test_nothing_is_known_to_the_sorter_alone_but_for_a_known_reason(field: str) -> None:
    unexplained = [
        case
        for case in differences()
        if (case.reference, case.field) == (NOBODY, field) and case.line not in table()
    ]
    assert not unexplained, f"file,field,reference,theirs,ours\n{listed(unexplained)}"


def test_every_known_difference_still_differs() -> None:
    still = {case.line for case in differences()}
    gone = [",".join(line) for line in table() if line not in still]
    assert not gone, "take these lines out of known_differences.csv:\n" + "\n".join(gone)


def test_every_known_difference_says_who_is_right_and_why() -> None:
    for line, (right, why) in table().items():
        assert right in {"theirs", "ours", "both"}, line
        assert len(why) > 20, line


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_every_rule_still_explains_something(rule: object) -> None:
    explained = [case for case in cases() if not case.same and rule_for(case) is rule]
    assert explained, "nothing differs by this rule any more: take it out of comparison.py"


# ---- how much ----------------------------------------------------------------------------------


@pytest.mark.parametrize("reference", KNOWN_TO)
def test_nearly_all_values_are_the_same(reference: str) -> None:
    of_reference = [figure for figure in figures() if figure.reference == reference]
    together = Figure.together(of_reference)
    assert together.share >= LEAST_SAME, together
    far_below = [one for one in of_reference if one.same < LEAST_SAME_OF_A_FIELD * kept(one)]
    assert far_below == []


def kept(figure: Figure) -> int:
    """The values that are to be the same: one wrong picture may lie in the corpus many times."""
    return figure.same + figure.different - figure.theirs


@pytest.mark.parametrize("field", fields.FIELDS)
def test_the_corpus_is_large_enough_to_tell(field: str) -> None:
    (figure,) = [one for one in figures() if (one.reference, one.field) == (EXIFTOOL, field)]
    assert figure.known >= LEAST_KNOWN.get(field, LEAST_KNOWN_OF_OTHERS)
