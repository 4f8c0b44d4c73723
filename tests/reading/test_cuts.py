"""Files cut at any byte: no reader raises, none tells a wrong value, and what is missing is named.

Field cases: headers cut at any byte, half a file under perfect metadata.
"""

from __future__ import annotations

from functools import cache

import pytest

from reading.builders import builder
from reading.small import SMALL
from sorter.model.frame import Facts
from sorter.reading import cards
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.containers.recognise import recognise
from sorter.reading.source import Memory

SILENT = Facts()
OF_WHAT_REMAINS = {"width", "height"}


def said(facts: Facts) -> dict[str, object]:
    """What was said at all."""
    pairs = ((name, getattr(facts, name)) for name in Facts.__slots__)
    return {name: value for name, value in pairs if value != getattr(SILENT, name)}


@cache
def whole(name: str) -> bytes:
    return SMALL[name]()


def cuts(name: str) -> range:
    """Every length, of long files every third: coprime with the grain of every layout."""
    return range(0, len(whole(name)), 3 if len(whole(name)) > 3000 else 1)


@pytest.mark.parametrize("name", SMALL)
def test_a_reader_takes_every_cut_by_itself(name: str) -> None:
    for length in cuts(name):
        source = Memory(whole(name)[:length])
        container = recognise(source)
        if container is not None and container.read is not None:
            container.read(source, FactsBuilder(container=container.name))


@pytest.mark.parametrize("name", SMALL)
def test_a_cut_file_tells_nothing_else_than_the_whole(name: str) -> None:
    complete = said(builder(whole(name), name).built())
    for length in cuts(name):
        for field, value in said(builder(whole(name)[:length], name).built()).items():
            if field not in OF_WHAT_REMAINS:
                assert value == complete.get(field), (length, field)


@pytest.mark.parametrize("name", SMALL)
def test_the_previews_of_a_cut_file_are_some_of_the_whole(name: str) -> None:
    every = {(one.offset, one.length) for one in builder(whole(name), name).previews}
    for length in cuts(name):
        for one in builder(whole(name)[:length], name).previews:
            itself = (one.offset, one.length) == (0, length)
            assert itself or (one.offset, one.length) in every, length


@pytest.mark.parametrize("name", SMALL)
def test_what_a_cut_file_does_not_tell_is_named(name: str) -> None:
    """Never by "no Exif" alone, nor by "no capture time": the rest of the file may hold them."""
    complete = said(builder(whole(name), name).built()).keys() - OF_WHAT_REMAINS
    for length in range(16, len(whole(name))):
        found = builder(whole(name)[:length], name)
        if complete - said(found.built()).keys():
            assert set(found.notes) - {cards.NO_TIME, block.NONE}, length
