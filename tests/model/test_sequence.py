from __future__ import annotations

from dataclasses import replace

from manifest.accounts import single
from sorter.model.relation_kind import RelationKind
from sorter.model.sequence import Relation

RETAKE = Relation(what=RelationKind.RETAKE, to=5)


def test_a_relation_is_said_with_the_number_of_the_other_sequence() -> None:
    assert str(RETAKE.related(6)) == "retake of sequence 6"


def test_the_notes_come_before_the_relations_and_numbers_count_from_one() -> None:
    sequence = replace(single(1, 0), notes=("dark",), relations=(RETAKE,))
    assert sequence.clauses() == ("dark", "retake of sequence 6")


def test_given_numbers_stand_in_the_place_of_those_from_one() -> None:
    sequence = replace(single(1, 0), relations=(RETAKE,))
    assert tuple(map(str, sequence.remarks((11, 12, 13, 14, 15, 26)))) == ("retake of sequence 26",)
