"""No decoder of a maker's note is left out: of note.py, of the fuzzer, of the property tests, of the rooms."""

from __future__ import annotations

import re
import struct
from functools import cache
from pathlib import Path

import pytest

from fuzzing import seeds
from fuzzing.forms import FORMS, Base, Form
from fuzzing.seeds import Range, Seed
from reading import decoders
from rooms import checker
from sorter.reading.makers import note

MODULES = decoders.modules()
REACHED = decoders.reached()
README = Path(__file__).parents[3] / "README.md"
READS_NOTHING = {"nikon.read_old"}
"""Its docstring says why; it keeps such notes from being taken for another form."""


@cache
def made() -> tuple[Seed, ...]:
    return tuple(seeds.made())


def whole(form: Form, one: Seed) -> set[Range]:
    """Where all rows of the form's note may stand in the file, without the count before them.

    A row begins with its tag; the one behind it, twelve bytes on, or sixteen, with the next tag.
    """
    size, way = (16, "I") if form.base is Base.ROWS else (12, "H")
    tags = [struct.pack(form.order + way, tag) for tag in form.tags]
    return {
        (at, at + size * len(tags) + more)
        for at in range(len(one.data))
        for more in (0, 4)
        if all(one.data.startswith(tag, at + size * n) for n, tag in enumerate(tags))
    }


def taken_by(form: Form) -> str:
    """The decoder that note.py gives the form to."""
    decode = note.decoder(form.header[:16], form.make)
    assert decode is not None
    return decoders.name_of(decode)


def test_the_walk_finds_the_decoders() -> None:
    """One whose note has a header, one without, and one of a form of its own; no helper of theirs."""
    assert {"olympus", "canon", "phaseone"} <= set(MODULES)
    assert not {"note", "form", "formats", "properties", "heap"} & set(MODULES)


@pytest.mark.parametrize("name", MODULES)
def test_a_decoder_is_named_in_a_table_of_note_py(name: str) -> None:
    named = {reached.partition(".")[0] for reached in REACHED}
    assert name in named, "a row in a table of sorter/reading/makers/note.py is missing"


def test_a_decoder_that_note_py_names_is_found_by_the_walk() -> None:
    """Its function is called `read…` and its argument is a `Note`: else nothing here would ask for it."""
    assert {reached.partition(".")[0] for reached in REACHED} <= set(MODULES)


@pytest.mark.parametrize("name", MODULES)
def test_a_decoder_has_tests_of_its_values(name: str) -> None:
    tests = Path(__file__).with_name(f"test_{name}.py")
    assert tests.is_file(), f"tests/reading/makers/{tests.name} is missing"


@pytest.mark.parametrize("name", MODULES)
def test_the_readme_says_what_a_maker_s_notes_tell(name: str) -> None:
    """Under "Cameras", by letters alone: Phase One is phaseone."""
    _, _, cameras = README.read_text("utf-8").partition("## Cameras\n")
    rows = [line for line in cameras.partition("## ")[0].splitlines() if line.startswith("| ")]
    makers = [re.sub("[^a-z]", "", row.split("|")[1].lower()) for row in rows]
    assert any(name in one for one in makers), 'a row in README\'s table under "Cameras" is missing'


@pytest.mark.parametrize("name", REACHED)
def test_the_table_of_forms_has_a_note_for_a_decoder(name: str) -> None:
    """The fuzzer's seeds and the property tests are made of that table: a row in scripts/fuzzing/forms.py."""
    assert name in set(map(taken_by, FORMS)), (
        "a row in FORMS of scripts/fuzzing/forms.py is missing"
    )


@pytest.mark.parametrize("form", FORMS, ids=taken_by)
def test_the_fuzzer_has_a_file_whose_note_of_a_form_is_read_to_its_last_row(form: Form) -> None:
    """So header and base are the decoder's own, and the fuzzer knows where to do its damage."""
    ending = f"-0-{form.name}.jpg"
    files = [one for one in made() if one.name.endswith(ending) and form.header in one.data]
    assert files
    if taken_by(form) not in READS_NOTHING:
        assert any(whole(form, one) & set(one.ranges) for one in files)


@pytest.mark.parametrize("form", FORMS, ids=taken_by)
def test_the_rooms_checker_knows_a_maker_by_its_name_and_by_its_make(form: Form) -> None:
    for name in (form.name, form.make):
        assert checker.faults("grouping/candidates.py", f"NAME = {name!r}")
