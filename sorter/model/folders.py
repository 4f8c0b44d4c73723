"""The folders of a shoot that many sequences and files share."""

from __future__ import annotations

SINGLES = "singles"
MARKERS = "markers"
CLIPS = "clips"
UNSORTED = "unsorted"
RESULTS = "results"

SHARED = frozenset({SINGLES, MARKERS, CLIPS, UNSORTED, RESULTS})
