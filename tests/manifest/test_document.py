from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from manifest.accounts import account_of, rock_pool
from sorter.manifest.document import document
from sorter.manifest.rows import make_rows, spelled
from sorter.model.relation_kind import RelationKind
from sorter.model.row import COLUMNS
from sorter.model.sequence import Account, Relation

GOLDEN = Path(__file__).parent / "golden"


def _refuse(token: str) -> float:
    raise AssertionError(token)


def parsed(account: Account) -> dict[str, object]:
    whole = json.loads(document(account, card="/pool\udcff"), parse_constant=_refuse)
    assert isinstance(whole, dict)
    return whole


def test_the_document_of_the_rock_pool(golden: Callable[[Path, bytes], None]) -> None:
    golden(GOLDEN / "rock-pool.json", f"{document(rock_pool(), card='/media/card')}\n".encode())


def test_infinity_is_a_text_and_no_bare_token() -> None:
    first, *rest = rock_pool().sequences
    odd = replace(first.grounds, margin=math.inf, begins_margin=math.nan)
    text = document(account_of(replace(first, grounds=odd), *rest), card="")
    why = json.loads(text, parse_constant=_refuse)["sequences"][0]["why"]
    assert (why["margin"], why["begins_margin"]) == ("inf", None)


def test_the_text_is_ascii_whatever_the_card_says() -> None:
    assert document(rock_pool(), card="/pool\udcff\u202e").isascii()


def test_files_have_the_manifests_names_and_are_all_there() -> None:
    whole = json.loads(document(rock_pool(), card=""))
    files = [each for one in whole["sequences"] for each in one["files"]] + whole["no_frame"]
    names = {*COLUMNS} - {"grounds"}
    assert all(set(each) == names for each in files)
    assert [each["source"] for each in files] == [
        spelled(row.source) for row in make_rows(rock_pool())
    ]


def test_a_relation_is_one_of_the_notes() -> None:
    first, second, *rest = rock_pool().sequences
    related = replace(second, notes=(), relations=(Relation(what=RelationKind.GOES_ON, to=0),))
    whole = json.loads(document(account_of(first, related, *rest), card=""))
    assert whole["sequences"][1]["notes"] == ["goes on from sequence 1"]
    told = [one["relations"] for one in whole["sequences"]]
    assert told[:2] == [[], [{"what": "goes on from", "sequence": 1}]]


def test_a_sequence_tells_its_order_by_focus() -> None:
    whole = json.loads(document(rock_pool(), card=""))
    assert [one["focus"] for one in whole["sequences"][1:4]] == [
        {"direction": "farther", "near_m": 0.22, "far_m": 0.26, "span_m": 0.04, "repeats": 0,
         "from_near": [1, 2, 3]},
        {"direction": "stays", "near_m": "inf", "far_m": "inf", "span_m": 0.0, "repeats": 1,
         "from_near": [1, 2]},
        {"direction": None, "near_m": None, "far_m": None, "span_m": None, "repeats": 0,
         "from_near": None},
    ]  # fmt: skip


def test_what_was_thrown_away_and_shoots_are_named() -> None:
    account = replace(account_of(), thrown_away=(".Trashes/\udcff.JPG",), shoots=("limpets",))
    whole = parsed(account)
    assert (whole["thrown_away"], whole["shoots"]) == ([".Trashes/\\xff.JPG"], ["limpets"])


def test_a_card_without_frames_is_a_document_too() -> None:
    assert parsed(account_of())["sequences"] == []
