"""What the README says that the knobs change on the demo card, and that --why tells all of it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from sorter.cli import commands
from sorter.model.knobs import GroupingKnobs

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
ROW = re.compile(
    r"^\| `(\w+)` \| `(--[a-z-]+)` \| ([\d.]+) \| ([\d.]+) \| (sequence .*?) \|$", re.MULTILINE
)
KNOBS = [field.name for field in fields(GroupingKnobs)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A row of the README's table of knobs."""

    option: str
    default: str
    example: str
    shows: str


CLAIMS = {
    knob: Claim(option=option, default=default, example=example, shows=shows)
    for knob, option, default, example, shows in ROW.findall(README)
}


def scan(card: Path, *options: str) -> str:
    done = CliRunner().invoke(commands, ["scan", str(card), *options])
    assert done.exit_code == 1  # one file of the card is empty
    return done.stdout


def sequences(card: Path, *options: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(scan(card, *options, "--json"))["sequences"]
    return found


def paths(sequence: dict[str, Any]) -> set[str]:
    return {file["source"] for file in sequence["files"]}


def changes(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> Iterator[str]:
    """What a knob changed, sequence by sequence, in the words of the README's table."""
    for one in before:
        number, own = one["sequence"], paths(one)
        parts = [each for each in after if paths(each) & own]
        assert set().union(*map(paths, parts)) == own  # nothing was joined with a neighbour
        if len(parts) > 1:
            into = [f"{each['kind']} of {each['frames']}" for each in parts]
            texts = [_times(text, len(list(same))) for text, same in groupby(into)]
            kind = f"{one['kind']} of {one['frames']}"
            yield f"sequence {number} ({kind}) splits: {', '.join(texts)}"
            continue
        assert parts[0]["kind"] == one["kind"]
        new = _own_notes(parts[0]) - _own_notes(one)
        yield from (f"sequence {number} says `{note}`" for note in sorted(new))


def _own_notes(sequence: dict[str, Any]) -> set[str]:
    """What it says of itself: a relation names another number where a sequence before it splits."""
    related = {f"{each['what']} sequence {each['sequence']}" for each in sequence["relations"]}
    return set(sequence["notes"]) - related


def _times(text: str, count: int) -> str:
    return text if count == 1 else f"{count} times {text}"


def test_every_knob_has_its_row() -> None:
    assert list(CLAIMS) == KNOBS


@pytest.mark.parametrize("knob", KNOBS)
def test_a_knob_changes_on_the_demo_card_what_the_readme_says(demo_card: Path, knob: str) -> None:
    claim = CLAIMS[knob]
    assert float(claim.default) == getattr(GroupingKnobs(), knob)
    before = sequences(demo_card)
    after = sequences(demo_card, claim.option, claim.example)
    assert "; ".join(changes(before, after)) == claim.shows


@pytest.mark.parametrize(
    ("option", "value"), [("--hand-pause", "600"), ("--apart", "10000"), ("--unsure-below", "0")]
)
def test_what_the_readme_calls_without_effect_has_none(
    demo_card: Path, option: str, value: str
) -> None:
    assert f"`{option} {value}`" in README
    after = sequences(demo_card, option, value)
    assert list(changes(sequences(demo_card), after)) == []


def test_a_knob_turned_far_down_makes_other_kinds(demo_card: Path) -> None:
    assert "`--hand-pause 3` makes a `burst` of\nsequences 10 and 13" in README
    before, after = sequences(demo_card), sequences(demo_card, "--hand-pause", "3")
    kinds = {each["sequence"]: each["kind"] for each in before}
    assert {each["sequence"]: each["kind"] for each in after} == kinds | {
        10: "burst",
        13: "burst",
    }


# ---- why --------------------------------------------------------------------------------------


def test_why_tells_grounds_next_best_and_margins_of_every_sequence(demo_card: Path) -> None:
    found = sequences(demo_card)
    paragraphs = scan(demo_card, "--why").split("\n\n")
    for each, paragraph in zip(found, paragraphs, strict=False):
        labelled = re.split(r"\n {6}(?:begins|kind|next best|look at) +", paragraph)[1:]
        begins, kind, next_best, *look = (re.sub(r"\s+", " ", text) for text in labelled)
        assert each["why"]["begins"] in begins
        assert re.search(r"\[(margin \d+\.\d|beyond doubt)\]$", begins)
        assert kind == each["why"]["kind"]
        assert next_best in _next_best(each)
        assert all(note in look[0] for note in each["notes"])
    assert paragraphs[len(found)].startswith("margin: how sure, from 0 to 30")


def _next_best(sequence: dict[str, Any]) -> tuple[str, ...]:
    why = sequence["why"]
    if why["runner_up"] is None:
        alone = sequence["kind"] == "single"
        return ("none: one frame is a single" if alone else "no other kind comes into question",)
    return (
        f"{why['runner_up']} [margin {why['margin']:.1f}]",
        f"{why['runner_up']} [beyond doubt]",
    )


def test_the_demo_card_shows_a_relation_and_notes_of_both_sorts(demo_card: Path) -> None:
    said = re.sub(r"\s+", " ", scan(demo_card, "--why"))
    assert "look at retake of sequence 6; IMG_9871.JPG: the picture ends early" in said
    assert "look at 11 of 48, stopped" in said
