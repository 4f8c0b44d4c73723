"""No margin is below zero: the best account is the best, and none that the margins try is cheaper."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from cardmaking.cameras import BY_NAME
from grouping.drawn import drawn
from grouping.series import BRACKET, candidate, climbing, even, start
from grouping.shoots import BODIES, shoot
from sorter.disk.card import Card
from sorter.grouping.account import account_for
from sorter.grouping.evidence import gather
from sorter.grouping.margins import confidences, rated
from sorter.grouping.search import Segment, search_input
from sorter.grouping.timeline import timelines
from sorter.model.frame import Reading
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs
from sorter.model.sequence import Sequence
from sorter.reading.cards import read_card

SEEDS = (*range(20), 98, 162, 212, 247, 292)
"""Behind the first twenty those in which the search once dropped what the margins then found."""
CARD_SEEDS = (1, 2, 3)
DUST = 1e-9
"""Nats: one sum in another order."""


def beaten(reading: Reading) -> Iterator[str]:
    """A line for each sequence to which the margins know something cheaper."""
    for each in account_for(reading).sequences:
        if min(each.grounds.margin, each.grounds.begins_margin) < -DUST:
            yield told(each)


def told(sequence: Sequence) -> str:
    """What it is, and its margins."""
    grounds = sequence.grounds
    return (
        f"{sequence.kind} of {len(sequence.frames)} from {sequence.frames[0].path}:"
        f" kind {grounds.margin:.2f} over {grounds.runner_up}, begin {grounds.begins_margin:.2f}"
    )


@pytest.mark.parametrize("body", sorted(BODIES))
def test_of_random_shoots(body: str) -> None:
    found = [
        f"seed {seed}: {line}"
        for seed in SEEDS
        for line in beaten(shoot(seed, BODIES[body], 120).reading())
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("name", sorted(BY_NAME))
def test_of_random_cards(name: str) -> None:
    found = [
        f"seed {seed}: {line}" for seed in CARD_SEEDS for line in beaten(drawn(seed, 200, name))
    ]
    assert not found, "\n".join(found)


def test_of_the_demo_card(demo_card: Path) -> None:
    card = Card(demo_card)
    assert list(beaten(read_card(card, card.listing()))) == []


def test_an_account_that_takes_many_repairs_keeps_a_margin_for_each_piece() -> None:
    made = start()
    candidate(made, even(0, 0.2, 60), climbing(0.3, 0.005, 60), planned=60, **BRACKET)
    (line,) = timelines(made.reading().frames)
    inputs = search_input(gather(line), GroupingKnobs())
    shattered = tuple(Segment(start=i, stop=i + 1, kind=Kind.SINGLE) for i in range(60))
    found = rated(inputs, shattered)
    assert len(found) < 60
    assert [each.confidence for each in found] == list(
        confidences(inputs, tuple(e.segment for e in found))
    )
