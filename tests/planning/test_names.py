from __future__ import annotations

import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pathvalidate import is_valid_filename

from sorter.planning import names

# "Do not use the following reserved names", in Microsoft's "Naming Files, Paths, and Namespaces";
# COM0 and LPT0 stood there for some years (from memory), CONIN$ and CONOUT$ under Consoles.
DEVICES = (
    *("CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"),
    *(f"{port}{sign}" for port in ("COM", "LPT") for sign in "0123456789\u00b9\u00b2\u00b3"),
)
# "The following reserved characters", ibid., and the slash of POSIX among them.
RESERVED_SIGNS = '<>:"/\\|?*'
AWKWARD = ["con", "Prn", "COM\u00b9", "lpt9", ".JPG", ". ", " .", "..", "\u0301", "\u00df", "\0", "\ud800"]  # fmt: skip
texts = st.one_of(
    st.text(max_size=300),
    st.lists(st.one_of(st.sampled_from(AWKWARD), st.text(max_size=120)), max_size=6).map("".join),
    st.text(st.characters(codec=None, categories=["Cs", "Cc", "Zs", "Lu"]), max_size=20),
)
legal_names = texts.map(names.legal)


@given(texts)
@example("x" * 251 + ".JPG")
@example("." * 300 + "x" * 40)
@example("CON ." + "x" * 250)
def test_a_legal_name_is_legal_everywhere(text: str) -> None:
    name = names.legal(text)
    assert 1 <= len(name.encode()) <= 255
    assert not set(name) & set(RESERVED_SIGNS)
    assert all(sign >= " " for sign in name)
    assert name[-1] not in ". "  # "Do not end a file or directory name with a space or a period"
    assert name[0] != " "
    assert name.partition(".")[0].rstrip(" ").upper() not in DEVICES


@given(texts)
def test_an_independent_library_takes_every_legal_name(text: str) -> None:
    name = names.legal(text)
    # The library refuses CLOCK$, a device of MS-DOS that Microsoft's page does not list, and names
    # of nothing but wide blanks, which the page allows: it speaks of the ASCII blank alone.
    if name.partition(".")[0].upper() == "CLOCK$" or not name.strip():
        return
    assert is_valid_filename(name, platform="universal")


@given(texts)
def test_what_is_legal_stays_as_it_is(text: str) -> None:
    once = names.legal(text)
    assert names.legal(once) == once
    assert names.is_legal(once)
    assert names.is_legal(text) == (once == text)


@pytest.mark.parametrize(
    "name",
    [
        *("IMG_0001.JPG", "P5170001.ORF", ".hidden", "limpet & whelk (2).tif", "Meerestümpel.JPG"),
        *("CONTACT.JPG", "COM10.JPG", "nul-tide.JPG", "a.con", "_CON.JPG", "IMG_0001.CR3.xmp"),
    ],
)
def test_names_of_every_day_are_kept(name: str) -> None:
    assert names.legal(name) == name


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("form", ["{}", "{}.txt", "{}.tar.gz", "{} .JPG", "{}. "])
def test_a_device_is_no_name_with_or_without_an_extension(device: str, form: str) -> None:
    for name in (form.format(device), form.format(device.lower())):
        assert names.legal(name).startswith(f"_{name[: len(device)]}")


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("../../tide", ".._.._tide"),
        ("..", "_"),
        ("", "_"),
        ("  ", "_"),
        (" low tide. ", "low tide"),
        ("a\nb\tc\0d\x7f", "a_b_c_d_"),
        ("crab\udcff.JPG", "crab_.JPG"),
        ("crab\u202egpj.exe", "crab_gpj.exe"),  # turns the writing: cba.jpg on the screen
        ("C:\\limpet?", "C__limpet_"),
    ],
)
def test_the_nearest_legal_name(text: str, name: str) -> None:
    assert names.legal(text) == name


@given(st.text("aé潮😀", min_size=80, max_size=400), st.from_regex(r"\A\.[A-Za-z0-9]{1,12}\Z"))
def test_a_long_name_is_cut_before_its_extension(stem: str, extension: str) -> None:
    name = names.legal(stem + extension)
    assert name.endswith(extension)
    assert stem.startswith(name.removesuffix(extension))
    if len((stem + extension).encode()) > 255:
        assert len(name.encode()) > 255 - 4  # no more is lost than a sign that does not fit


def test_what_is_no_extension_is_cut_too() -> None:
    assert names.legal("tide." + "x" * 300) == "tide." + "x" * 250
    assert names.legal("limpet", 4) == "limp"


# ---- names that are the same ----------------------------------------------------------------


def _twins(name: str) -> set[str]:
    """The name in other cases and forms; a dotless i, which no case-blind file system takes for an
    i (from memory), is left out: Python's upper case makes one of it."""
    cases = [name, name.lower(), name.swapcase(), name.upper(), name.casefold()]
    return {unicodedata.normalize(form, each) for form in ("NFC", "NFD") for each in cases}


@given(st.text(st.characters(exclude_characters="\u0131", exclude_categories=["Cs"]), max_size=30))
@example("\u00c5ngstr\u00f6m")
@example("A\u030a\u0301\u0345")
@example("stra\u00dfe")
def test_twins_by_case_and_form_are_the_same(name: str) -> None:
    assert {names.same(twin) for twin in _twins(name)} == {names.same(name)}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("IMG_0001.JPG", "IMG_0002.JPG"),
        ("crab.JPG", "crab .JPG"),
        ("tide", "tidé"),
        ("a", "\u0430"),
    ],
)
def test_other_names_are_not_the_same(one: str, other: str) -> None:
    assert names.same(one) != names.same(other)


# ---- suffixes -------------------------------------------------------------------------------


@given(legal_names, st.integers(2, 10**6))
def test_a_name_with_a_number_is_legal_and_another(name: str, number: int) -> None:
    stem = names.stem_lengths([name])[name]
    given_name = names.numbered(name, stem, number)
    assert len(given_name.encode()) <= 255
    assert names.is_legal(given_name)
    assert names.same(given_name) != names.same(name)
    assert names.numbered(name, stem, 1) == name


@given(st.text("aé潮😀", min_size=1, max_size=300), st.from_regex(r"\A\.[A-Za-z0-9]{1,31}\Z"), st.integers(2, 10**6))  # fmt: skip
def test_a_name_with_a_number_keeps_its_extension(stem: str, extension: str, number: int) -> None:
    name = names.legal(stem + extension)
    given_name = names.numbered(name, names.stem_lengths([name])[name], number)
    assert given_name.endswith(f"_{number}{extension}")
    assert stem.startswith(given_name.removesuffix(f"_{number}{extension}"))


def test_a_name_that_is_almost_all_extension_gives_some_of_it_up() -> None:
    name = "a." + "x" * 253
    assert names.numbered(name, 1, 2) == "a." + "x" * 251 + "_2"


@pytest.mark.parametrize(
    ("together", "suffixed"),
    [
        (["IMG_1.CR3", "IMG_1.JPG", "IMG_1.xmp"], ["IMG_1_2.CR3", "IMG_1_2.JPG", "IMG_1_2.xmp"]),
        (["IMG_1.CR3", "IMG_1.CR3.xmp"], ["IMG_1_2.CR3", "IMG_1_2.CR3.xmp"]),
        (["IMG_1.CR3", "img_1.cr3.XMP"], ["IMG_1_2.CR3", "img_1_2.cr3.XMP"]),
        (["tide.tar.gz"], ["tide.tar_2.gz"]),
        ([".hidden"], [".hidden_2"]),
        (["limpet"], ["limpet_2"]),
    ],
)
def test_the_number_goes_where_the_files_of_a_frame_still_go_together(
    together: list[str], suffixed: list[str]
) -> None:
    lengths = names.stem_lengths(together)
    assert [names.numbered(name, lengths[name], 2) for name in together] == suffixed
