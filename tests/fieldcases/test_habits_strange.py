"""Habits told by a stranger: every press has its label, and no cost is set by them.

What is found on them is no test's matter: scripts/score_habits --only-held --topic strange tells it.
"""

from __future__ import annotations

import random

import pytest

from fieldcases.habits import HELD, Habit
from fieldcases.habits_strange import FAIL_TODAY, HABITS
from scoring.habits import wanted


@pytest.mark.parametrize("habit", HABITS, ids=lambda habit: habit.name)
def test_every_press_of_a_strange_habit_has_its_label(habit: Habit) -> None:
    cards, labels = made = habit.make(random.Random(1))
    presses = sum(len(card.presses) for card in (cards if isinstance(cards, tuple) else (cards,)))
    assert sum(label.count for label in labels) == presses
    assert len(list(wanted(made))) == len(labels)


def test_strange_habits_are_held_back_from_tuning() -> None:
    names = {habit.name for habit in HABITS}
    assert len(names) == len(HABITS)
    assert names <= HELD
    assert names >= FAIL_TODAY
