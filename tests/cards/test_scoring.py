"""The score, on small tables made by hand: what is perfect, what is off by one, what is missing."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from cardmaking import cards
from scoring import command
from scoring.measure import Score, total
from scoring.tables import NoTable, Place, places, read, wanted

COLUMNS = ("source", "frame", "sequence", "kind", "position", "role")
TRUTH = (*COLUMNS, "kind_by_tags", "maker", "decidable", "about")
KINDS = {"1": ("single", 1), "2": ("burst", 4), "3": ("exposure-bracket", 3)}
"""The sequences of the small card: kind and frames."""


def source(number: int) -> str:
    return f"DCIM/100TIDEM/TIDE{number:04}.JPG"


def truth_rows(**changes: str) -> list[dict[str, str]]:
    rows: list[dict[str, str]] = []
    for sequence, (kind, frames) in KINDS.items():
        for position in range(1, frames + 1):
            number = len(rows) + 1
            rows.append(
                {
                    "source": source(number),
                    "frame": str(number),
                    "sequence": sequence,
                    "kind": kind,
                    "position": str(position),
                    "role": "image",
                    "kind_by_tags": kind,
                    "maker": "plain",
                    "decidable": "yes",
                    "about": kind,
                }
            )
    return [row | changes for row in rows]


def found_rows(groups: list[tuple[str, list[int]]]) -> list[dict[str, str]]:
    """A manifest with these kinds and numbers of files, in the order of the groups."""
    return [
        {
            "source": source(number),
            "frame": str(number),
            "sequence": str(sequence),
            "kind": kind,
            "position": str(position),
            "role": "image",
        }
        for sequence, (kind, numbers) in enumerate(groups, start=1)
        for position, number in enumerate(numbers, start=1)
    ]


PERFECT = [("single", [1]), ("burst", [2, 3, 4, 5]), ("exposure-bracket", [6, 7, 8])]


def scored(found: list[dict[str, str]], truth: list[dict[str, str]] | None = None) -> Score:
    score = Score()
    score.take("card", wanted(truth_rows() if truth is None else truth), places(found))
    return score


def figures(score: Score) -> dict[str, float]:
    return total(score.bodies.values()).figures()


def test_a_perfect_manifest_has_all_of_everything() -> None:
    score = scored(found_rows(PERFECT))
    found = figures(score)
    shares = [name for name in found if name.endswith("share")]
    assert {name: found[name] for name in ("precision", "recall", "f1", *shares)} == dict.fromkeys(
        ("precision", "recall", "f1", *shares), 1.0
    )
    # The first frame of the body counts on neither side: of three sequences two are left.
    assert (found["hit"], found["frames"], found["sequences"], found["series"]) == (2, 8, 3, 2)
    assert score.failures == []
    assert score.lacking == []


def test_a_boundary_one_frame_late_is_one_missed_and_one_invented() -> None:
    groups = [("single", [1]), ("burst", [2, 3, 4, 5, 6]), ("exposure-bracket", [7, 8])]
    score = scored(found_rows(groups))
    found = figures(score)
    assert (found["hit"], found["missed"], found["invented"]) == (1, 1, 1)
    assert (found["precision"], found["recall"], found["f1"]) == (0.5, 0.5, 0.5)
    assert found["frames_of_kind_share"] == 7 / 8
    assert found["sequences_of_kind_share"] == pytest.approx(2 / 3)
    assert found["whole"] == 0
    burst, bracket = score.failures
    assert burst.found == "4 of burst 2 (with 1 files more)"
    assert bracket.found == "1 of burst 2 (with 4 files more) + 2 of exposure-bracket 3"


def test_a_series_cut_in_two_is_one_boundary_invented() -> None:
    groups = [("single", [1]), ("burst", [2, 3]), ("burst", [4, 5]), PERFECT[2]]
    found = figures(scored(found_rows(groups)))
    assert (found["precision"], found["recall"], found["f1"]) == (2 / 3, 1.0, 0.8)
    assert (found["frames_of_kind_share"], found["whole_share"]) == (1.0, 0.5)


def test_two_sequences_joined_are_one_boundary_missed() -> None:
    found = figures(scored(found_rows([("burst", [1, 2, 3, 4, 5]), PERFECT[2]])))
    assert (found["precision"], found["recall"]) == (1.0, 0.5)
    assert (found["whole"], found["sequences_of_kind"]) == (1, 2)


def test_a_wrong_kind_leaves_the_boundaries_right() -> None:
    groups = [PERFECT[0], ("manual-stack", [2, 3, 4, 5]), PERFECT[2]]
    score = scored(found_rows(groups))
    found = figures(score)
    assert (found["f1"], found["whole_share"], found["whole_of_kind_share"]) == (1.0, 1.0, 0.5)
    assert found["frames_of_kind_share"] == 0.5
    assert score.failures[0].found == "4 of manual-stack 2"
    assert score.kinds["burst"].whole_of_kind == 0
    assert score.kinds["exposure-bracket"].whole_of_kind == 1


def test_the_kind_that_counts_is_the_one_that_the_tags_can_tell() -> None:
    truth = [
        row | ({"kind": "focus-bracket"} if row["sequence"] == "2" else {}) for row in truth_rows()
    ]
    assert figures(scored(found_rows(PERFECT), truth))["sequences_of_kind_share"] == 1.0


def test_a_missing_frame_is_told_and_leaves_its_sequence_broken() -> None:
    score = scored([row for row in found_rows(PERFECT) if row["source"] != source(4)])
    assert score.lacking == [f"card: {source(4)}"]
    assert figures(score)["whole"] == 1
    assert score.failures[0].found == "3 of burst 2 + 1 of nothing"


def test_what_nobody_can_decide_is_counted_apart() -> None:
    truth = [row | ({"decidable": "no"} if row["sequence"] == "2" else {}) for row in truth_rows()]
    groups = [("single", [1]), ("burst", [2, 3]), ("burst", [4, 5]), PERFECT[2]]
    score = scored(found_rows(groups), truth)
    without, everything = figures(score), total(score.bodies_all.values()).figures()
    assert (without["f1"], without["frames"], without["whole_share"]) == (1.0, 4, 1.0)
    assert (everything["f1"], everything["frames"], everything["whole_share"]) == (0.8, 8, 0.5)
    assert [failure.decidable for failure in score.failures] == [False]


def test_a_merged_picture_is_no_frame_and_begins_nothing() -> None:
    merged = {"source": source(9), "sequence": "2", "frame": "", "position": "", "role": "result"}
    truth = [*truth_rows(), truth_rows()[0] | merged]
    for role, sequence in (("result", "2"), ("image", "4")):
        row = merged | {"role": role, "sequence": sequence, "kind": "burst", "position": "1"}
        found = figures(scored([*found_rows(PERFECT), row], truth))
        assert (found["f1"], found["frames"]) == (1.0, 8)


def test_a_merged_picture_taken_for_a_slice_breaks_its_sequence() -> None:
    groups = [PERFECT[0], ("burst", [2, 3, 4, 5, 9]), PERFECT[2]]
    merged = {"source": source(9), "sequence": "2", "frame": "", "position": "", "role": "result"}
    truth = [*truth_rows(), truth_rows()[0] | merged]
    found = figures(scored(found_rows(groups), truth))
    assert (found["f1"], found["whole_share"]) == (1.0, 0.5)


def test_the_files_of_a_frame_belong_together() -> None:
    raw = "DCIM/100TIDEM/TIDE0002.CR3"
    truth = [*truth_rows(), truth_rows()[1] | {"source": raw, "role": "raw"}]
    beside = {"source": raw, "kind": "burst", "position": "1", "role": "raw", "frame": "2"}
    together = figures(scored([*found_rows(PERFECT), beside | {"sequence": "2"}], truth))
    apart = figures(scored([*found_rows(PERFECT), beside | {"sequence": "4"}], truth))
    assert (together["frames"], together["whole_share"], apart["whole_share"]) == (8, 1.0, 0.5)


def test_each_body_has_a_first_frame_of_its_own() -> None:
    truth = [row | ({"maker": "om"} if row["sequence"] == "3" else {}) for row in truth_rows()]
    score = scored(found_rows(PERFECT), truth)
    assert {body: counts.hit for body, counts in score.bodies.items()} == {"plain": 1, "om": 0}


# ---- the command ----------------------------------------------------------------------------


def written(path: Path, rows: list[dict[str, str]], columns: tuple[str, ...]) -> str:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns)
        writer.writeheader()
        writer.writerows(rows)
    return str(path)


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    code = command.main(arguments)
    return code, capsys.readouterr().out


def test_pairs_of_tables_are_added_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good = written(tmp_path / "good.csv", found_rows(PERFECT), COLUMNS)
    bad = written(tmp_path / "bad.csv", found_rows([("burst", [*range(1, 9)])]), COLUMNS)
    truth = written(tmp_path / "card-truth.csv", truth_rows(), TRUTH)
    code, out = run(capsys, good, truth, bad, truth, "--json")
    document: dict[str, Any] = json.loads(out)
    assert code == 0
    assert (document["all"]["cards"], document["all"]["recall"]) == (2, 0.5)
    assert len(document["failures"]) == 3
    code, out = run(capsys, good, truth, bad, truth, "--list", "1")
    assert "not found as they are: 3 sequences, and 0" in out
    assert "... and 2 more" in out
    assert "1.0000" in out


def test_a_manifest_that_lacks_frames_ends_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    part = written(tmp_path / "part.csv", found_rows(PERFECT[:2]), COLUMNS)
    truth = written(tmp_path / "card-truth.csv", truth_rows(), TRUTH)
    code, out = run(capsys, part, truth)
    assert code == 1
    assert f"lacks 3 files of the truth, first card: {source(6)}" in out


def test_what_is_no_table_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("a,b\r\n1,2\r\n")
    with pytest.raises(NoTable, match="no column kind"):
        read(tmp_path / "x.csv")
    for wrong in ([], ["one.csv"], ["--cards", str(tmp_path)]):
        with pytest.raises(SystemExit) as ended:
            command.main(wrong)
        assert ended.value.code == 2


def test_a_path_that_a_spreadsheet_would_compute_is_found_again() -> None:
    row = found_rows([("single", [1])])[0] | {"source": "./=1.JPG"}
    assert list(places([row])) == ["=1.JPG"]


def test_cards_are_scanned_where_they_lie(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cards.write_card(tmp_path, 1, 40, ["canon"])
    code, out = run(capsys, "--cards", str(tmp_path), "--json")
    document: dict[str, Any] = json.loads(out)
    assert code == 0
    assert document["lacking"] == []
    assert document["all"]["frames"] >= 40
    assert set(document["bodies"]) == {"canon"}
    assert isinstance(next(iter(command.scanned(tmp_path / "card-1").values())), Place)
