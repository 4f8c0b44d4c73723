"""Random cards are found as they were shot: a bar that every change must clear, not the goal.

Twelve cards, one of each body that scripts/cardmaking knows, with seeds that no cost was set by. The
shoots are invented (common practice, no source). More cards: see "How a change of the costs is
measured" in DEVELOPERS.md.
"""

from __future__ import annotations

import pytest

from cardmaking import cards
from cardmaking.cameras import CAMERAS
from scoring import command
from scoring.measure import Counts, Score, total
from scoring.tables import read, wanted

FIRST_SEED = 9001
FRAMES = 300
LEAST_F1 = 0.99
LEAST_OF_KIND = 0.99
LEAST_WHOLE = 0.97


@pytest.fixture(scope="module")
def score(tmp_path_factory: pytest.TempPathFactory) -> Score:
    """What is found on the cards, held against their truths."""
    folder = tmp_path_factory.mktemp("random-cards")
    found = Score()
    for seed, camera in enumerate(CAMERAS, start=FIRST_SEED):
        cards.write_card(folder, seed, FRAMES, [camera.name])
        truth = wanted(read(folder / f"card-{seed}-truth.csv"))
        found.take(f"card-{seed}", truth, command.scanned(folder / f"card-{seed}"))
    return found


@pytest.fixture(scope="module")
def counts(score: Score) -> Counts:
    """All cards added up, without what nobody can decide."""
    return total(score.bodies.values())


def failed(score: Score) -> str:
    """What to look at where a bar is missed."""
    return "\n".join(command.as_text(score, most=40))


def test_every_file_of_every_body_is_found(score: Score, counts: Counts) -> None:
    assert score.lacking == []
    assert set(score.bodies) == {camera.name for camera in CAMERAS}
    assert counts.frames > 0.9 * FRAMES * len(CAMERAS)
    assert counts.series > 10 * len(CAMERAS)


def test_sequences_begin_where_they_began(score: Score, counts: Counts) -> None:
    assert counts.f1 >= LEAST_F1, failed(score)


@pytest.mark.parametrize("share", ["frames_of_kind_share", "sequences_of_kind_share"])
def test_kinds_are_those_that_the_files_can_tell(score: Score, counts: Counts, share: str) -> None:
    assert counts.figures()[share] >= LEAST_OF_KIND, failed(score)


def test_series_are_found_whole(score: Score, counts: Counts) -> None:
    assert counts.figures()["whole_share"] >= LEAST_WHOLE, failed(score)
