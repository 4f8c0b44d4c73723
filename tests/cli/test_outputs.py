"""What options write replaces nothing that is not of its own kind, and nothing is written into a card."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sorter.cli import commands
from sorter.disk.shoot import Shoot
from sorter.model.kinds import Kind
from writing.cards import ANEMONES, LIMPETS, ingest, limpets, picture, tide_card, tree
from writing.regrouping import regrouped, wish

LIST: Final = "0001_burst_4.txt"
CORRECTIONS: Final = "first,last,kind,name\r\nDCIM/100TIDES/IMG_0001.JPG,,marker,\r\n"


def sorter(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter")


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert (result.exit_code, result.stdout) == (2, ""), result.output
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


def done(result: Result) -> None:
    """It wrote what it was to write; these small pictures have no previews, which a check names."""
    assert result.exit_code in (0, 1), result.output


@dataclass(frozen=True, slots=True)
class Pool:
    """A card, the shoot that it was carried to, another card, and a folder that is none of these."""

    base: Path

    @property
    def card(self) -> Path:
        return self.base / "card"

    @property
    def shoot(self) -> Path:
        return self.base / "shoot"

    @property
    def other(self) -> Path:
        return self.base / "media" / "other"

    @property
    def desk(self) -> Path:
        return self.base / "desk"


def make(base: Path) -> Pool:
    """Nothing odd is on the card, so that every command over it ends with 0."""
    pool = Pool(base)
    tide_card(pool.card)
    (pool.card / "latest.JPG").unlink()
    (pool.card / ANEMONES / "IMG_0004.JPG").unlink()
    ingest(pool.card, pool.shoot)
    limpets(pool.other, 2)
    pool.desk.mkdir()
    return pool


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Pool:
    """For commands that are to change nothing."""
    return make(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def pool(tmp_path: Path) -> Pool:
    return make(tmp_path)


Write = Callable[[Pool, Path], Result]

REPLACING: Final[dict[str, Write]] = {
    "scan --manifest": lambda pool, file: sorter("scan", pool.card, "--manifest", file),
    "check CARD --csv": lambda pool, file: sorter("check", pool.card, "--csv", file),
    "check SHOOT --csv": lambda pool, file: sorter("check", pool.shoot, "--csv", file),
    "tally --csv": lambda pool, file: sorter("tally", pool.shoot, "--csv", file),
    "steps --plot": lambda _, file: sorter("steps", "--magnification", "1", "--plot", file),
}
ADDING: Final[dict[str, Write]] = {
    "scan --write-corrections": lambda pool, file: sorter(
        "scan", pool.card, "--write-corrections", file
    ),
    "check CARD --write-corrections": lambda pool, file: sorter(
        "check", pool.card, "--write-corrections", file
    ),
    "check SHOOT --write-corrections": lambda pool, file: sorter(
        "check", pool.shoot, "--write-corrections", file
    ),
}
FILES: Final = {**REPLACING, **ADDING}
LISTS: Final[dict[str, Write]] = {
    "handoff --list": lambda pool, folder: sorter(
        "handoff", pool.shoot, "--kind", "burst", "--list", folder
    ),
}
FOLDERS: Final[dict[str, Write]] = {
    **LISTS,
    "handoff --folders": lambda pool, folder: sorter(
        "handoff", pool.shoot, "--kind", "burst", "--folders", folder
    ),
    "ingest SHOOT": lambda pool, folder: sorter("ingest", pool.card, folder),
    "ingest --backup": lambda pool, folder: sorter(
        "ingest", pool.card, pool.shoot, "--backup", folder
    ),
    "verify --mend": lambda pool, folder: sorter(
        "verify", pool.shoot, "--backup", folder, "--mend"
    ),
}


# ---- what is there ------------------------------------------------------------------------------


def a_jpeg(path: Path) -> None:
    picture(path.with_suffix(".JPG"), 0).rename(path)


def a_png(path: Path) -> None:
    """Of another program, which names itself as PNG 1.2 has it (4.2.3, from memory)."""
    from PIL.PngImagePlugin import PngInfo  # noqa: PLC0415  for this one picture

    about = PngInfo()
    about.add_text("Software", "a paint box")
    Image.new("RGB", (40, 30), "teal").save(path, "PNG", pnginfo=about)


def a_clip(path: Path) -> None:
    path.write_bytes(b"\0\0\0\x10ftypmp42\0\0\0\0" + b"splash" * 400)


def a_ledger(path: Path) -> None:
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE tides (low TEXT)")
    base.close()


def a_plain_picture(path: Path) -> None:
    """A picture that is text: a plain portable greymap (Netpbm's format, from memory)."""
    path.write_text("P2\n2 2\n255\n0 255\n255 0\n")


def a_sidecar(path: Path) -> None:
    path.write_text('<x:xmpmeta xmlns:x="adobe:ns:meta/">five stars</x:xmpmeta>')


def a_late_nul(path: Path) -> None:
    """Text for a while: what tells that it is none comes after the first block of a disk."""
    path.write_bytes(b"low tide at 13:40\n" * 500 + b"\0\0\0")


def text(said: str, encoding: str = "utf-8") -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_bytes(said.encode(encoding))

    return write


VICTIMS: Final[dict[str, tuple[str, Callable[[Path], None]]]] = {
    "a picture": ("IMG_0001.JPG", a_jpeg),
    "a picture without its extension": ("limpet", a_jpeg),
    "a picture by another name": ("limpet.csv", a_jpeg),
    "a plot by its name only": ("steps.png", a_jpeg),
    "another program's picture": ("limpet.png", a_png),
    "a picture that is text": ("limpet.pgm", a_plain_picture),
    "a clip": ("MVI_0001.MP4", a_clip),
    "a clip by another name": ("clip.csv", a_clip),
    "a ledger": ("tides.db", a_ledger),
    "a ledger by another name": ("tides.csv", a_ledger),
    "a sidecar": ("IMG_0001.xmp", a_sidecar),
    "a sidecar by another name": ("IMG_0001.csv", a_sidecar),
    "half a text": ("tides.csv", a_late_nul),
    "settings": ("sorter.toml", text("[clock]\n")),
    "notes": ("tides.md", text("low tide at 13:40")),
    "corrections": ("mine.csv", text(CORRECTIONS)),
    "corrections of a spreadsheet": ("mine.csv", text("\ufeff" + CORRECTIONS.replace(",", ";"))),
    "text of another encoding": ("mine.csv", text("marée basse", "latin-1")),
}


@pytest.mark.parametrize("victim", VICTIMS)
@pytest.mark.parametrize("option", REPLACING)
def test_no_option_replaces_what_is_not_of_its_kind(
    kept: Pool, tmp_path: Path, option: str, victim: str
) -> None:
    name, write = VICTIMS[victim]
    write(tmp_path / name)
    before = tree(kept.base, tmp_path)
    refused(REPLACING[option](kept, tmp_path / name), "never replaced", "ame another file")
    assert tree(kept.base, tmp_path) == before


@pytest.mark.parametrize("victim", VICTIMS)
@pytest.mark.parametrize("option", REPLACING)
def test_a_link_to_it_is_no_way_around(
    kept: Pool, tmp_path: Path, option: str, victim: str
) -> None:
    name, write = VICTIMS[victim]
    (tmp_path / "there").mkdir()
    write(tmp_path / "there" / name)
    (tmp_path / "out.csv").symlink_to(tmp_path / "there" / name)
    before = tree(kept.base, tmp_path)
    refused(REPLACING[option](kept, tmp_path / "out.csv"), "never replaced")
    assert tree(kept.base, tmp_path) == before


ANY_TEXT: Final = frozenset({"settings", "notes", "a picture that is text"})
"""Under a list's own name these are taken for an old list."""


@pytest.mark.parametrize("victim", sorted(VICTIMS.keys() - ANY_TEXT))
def test_no_list_replaces_what_is_none(kept: Pool, tmp_path: Path, victim: str) -> None:
    VICTIMS[victim][1](tmp_path / LIST)
    before = tree(kept.base, tmp_path)
    refused(LISTS["handoff --list"](kept, tmp_path), LIST, "never replaced")
    assert tree(kept.base, tmp_path) == before


def files_of(folder: Path) -> list[str]:
    return sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()
    )


@pytest.mark.parametrize("option", FILES)
def test_no_file_of_a_shoot_is_replaced(kept: Pool, option: str) -> None:
    before = tree(kept.base)
    for name in files_of(kept.shoot):
        refused(FILES[option](kept, kept.shoot / name), name)
    assert tree(kept.base) == before


@pytest.mark.parametrize("name", ["manifest.csv", "Checks.CSV", "SHA256SUMS", ".sorter/new.csv"])
@pytest.mark.parametrize("option", FILES)
def test_what_a_shoot_keeps_of_itself_is_not_written_by_an_option_either(
    pool: Pool, option: str, name: str
) -> None:
    """Not where it is not there: whoever reads it then would take it for the shoot's."""
    (pool.shoot / name).unlink(missing_ok=True)
    before = tree(pool.base)
    refused(FILES[option](pool, pool.shoot / name), name)
    assert tree(pool.base) == before


def test_lists_in_a_shoot_replace_lists_and_nothing_else(pool: Pool) -> None:
    lists = pool.shoot / "lists"
    for _ in range(2):
        assert LISTS["handoff --list"](pool, lists).exit_code == 0
    (lists / LIST).write_text("low tide at 13:40")
    refused(LISTS["handoff --list"](pool, lists), "never replaced")
    assert (lists / LIST).read_text() == "low tide at 13:40"


@pytest.mark.parametrize("victim", ["a picture", "notes", "a ledger"])
def test_a_check_replaces_no_table_but_its_own(pool: Pool, victim: str) -> None:
    own = pool.shoot / "checks.csv"
    VICTIMS[victim][1](own)
    before = tree(pool.base)
    refused(sorter("check", pool.shoot), "checks.csv", "never replaced", "Move it away")
    assert tree(pool.base) == before
    own.unlink()
    for _ in range(2):
        done(sorter("check", pool.shoot))
    assert own.read_text().startswith("sequence,kind,frames,")
    own.unlink()
    VICTIMS[victim][1](own)  # in the place of the table that was there
    kept = own.read_bytes()
    refused(sorter("check", pool.shoot), "never replaced")
    done(sorter("undo", pool.shoot, "--yes"))
    assert own.read_bytes() == kept


def test_looking_at_the_outputs_is_no_obstacle_to_ending_what_was_stopped(
    pool: Pool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "move", interrupted)
        with pytest.raises(KeyboardInterrupt):
            regrouped(pool.shoot, wish(Kind.MARKER, 2))
    done(sorter("check", pool.shoot, "--apply", "--csv", pool.desk / "new.csv"))
    assert (pool.desk / "new.csv").exists()


# ---- what gives way -----------------------------------------------------------------------------


@pytest.mark.parametrize("option", [each for each in REPLACING if "plot" not in each])
def test_a_table_takes_the_place_of_a_table(pool: Pool, option: str) -> None:
    new, plain, empty = (pool.desk / name for name in ("out", "old.csv", "empty"))
    plain.write_text("what was there before")
    empty.touch()
    for file in (new, new, plain, empty):
        done(REPLACING[option](pool, file))
    assert new.read_bytes() == plain.read_bytes() == empty.read_bytes() != b""


@pytest.mark.parametrize("option", [each for each in REPLACING if "plot" not in each])
def test_a_table_of_another_kind_is_kept(pool: Pool, option: str) -> None:
    """A manifest of a card that was formatted since cannot be made again."""
    written: dict[str, Path] = {}
    for other in ("scan --manifest", "check CARD --csv", "tally --csv"):
        written[other] = pool.desk / f"{len(written)}.csv"
        done(REPLACING[other](pool, written[other]))
    for other, file in written.items():
        if other.split(maxsplit=1)[0] != option.split(maxsplit=1)[0]:
            before = file.read_bytes()
            refused(REPLACING[option](pool, file), "never replaced")
            assert file.read_bytes() == before


def test_a_plot_takes_the_place_of_a_plot(pool: Pool) -> None:
    """Which is known by its own mark, as PNG 1.2 has it (4.2.3, from memory)."""
    plot, empty = pool.desk / "steps", pool.desk / "empty.png"
    empty.touch()
    for file in (plot, plot, empty):
        done(REPLACING["steps --plot"](pool, file))
    with Image.open(plot) as drawn:
        assert drawn.info["Software"] == "sorter steps"
    plot.write_bytes(plot.read_bytes()[:60])  # cut before its mark
    refused(REPLACING["steps --plot"](pool, plot), "never replaced")


# ---- cards --------------------------------------------------------------------------------------


def places(pool: Pool) -> dict[str, Path]:
    """Folders in cards of every form, none of which a command names as its card."""
    low, fresh, linked = (pool.base / name for name in ("low", "fresh", "linked"))
    (low / "dcim" / "101ABCDE").mkdir(parents=True)
    (low / "misc").mkdir()
    (fresh / "DCIM").mkdir(parents=True)
    linked.symlink_to(pool.other / LIMPETS)
    return {
        "its root": pool.other,
        "its DCIM": pool.other / "DCIM",
        "a folder of frames": pool.other / LIMPETS,
        "a card in small letters": low / "misc",
        "a card that was just formatted": fresh,
        "a link into it": linked,
    }


PLACES: Final = (
    *("its root", "its DCIM", "a folder of frames", "a card in small letters"),
    *("a card that was just formatted", "a link into it"),
)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("option", FILES)
def test_no_file_is_written_into_any_card(pool: Pool, option: str, place: str) -> None:
    folder = places(pool)[place]
    before = tree(pool.base)
    refused(FILES[option](pool, folder / "new.csv"), "lies in the card", "nothing is ever written")
    assert tree(pool.base) == before


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("option", FOLDERS)
def test_no_folder_is_made_in_any_card(pool: Pool, option: str, place: str) -> None:
    folder = places(pool)[place]
    before = tree(pool.base)
    refused(FOLDERS[option](pool, folder / "new"), "lies in the card", "nothing is ever written")
    if option != "ingest SHOOT":  # which is no shoot, and no second copy
        refused(FOLDERS[option](pool, folder), "lies in the card")
    assert tree(pool.base) == before


def test_the_card_that_a_shoot_came_from_is_one_whatever_its_folders_are_called(
    pool: Pool,
) -> None:
    """A card may be any tree of pictures; which it was says the ledger."""
    pebbles, shoot = pool.base / "pebbles", pool.base / "from-pebbles"
    for number in (1, 2, 3):
        picture(pebbles / "west" / f"IMG_{number:04d}.JPG", 0.25 * number, shade=30 * number)
    ingest(pebbles, shoot)
    pool = PoolOf(pool.base)
    before = tree(pool.base)
    for option in ("check SHOOT --csv", "tally --csv", "check SHOOT --write-corrections"):
        refused(FILES[option](pool, pebbles / "new.csv"), "lies in the card")
    for option in ("handoff --list", "handoff --folders"):
        refused(FOLDERS[option](pool, pebbles / "west" / "new"), "lies in the card")
    assert tree(pool.base) == before
    shutil.rmtree(pebbles)  # another folder may have its name later
    pebbles.mkdir()
    shutil.move(shoot, pebbles / "shoot")
    shoot = pebbles / "shoot"
    assert sorter("tally", shoot, "--csv", pebbles / "new.csv").exit_code == 0


class PoolOf(Pool):
    """Whose shoot came from a card without a DCIM."""

    @property
    def shoot(self) -> Path:
        return self.base / "from-pebbles"


def test_beside_a_card_anything_may_be_written(pool: Pool) -> None:
    """A folder that holds cards is none, nor is one that only knows of pictures of a phone."""
    (pool.desk / "DCIM" / "Camera").mkdir(parents=True)
    (pool.base / "media" / "DCIM").symlink_to(pool.other / "DCIM")
    for place, write in enumerate(FILES.values()):
        for folder in (pool.desk, pool.base, pool.base / "media"):
            done(write(pool, folder / f"{place}.csv"))
    done(LISTS["handoff --list"](pool, pool.base / "media" / "lists"))
    assert sorter("ingest", pool.other, pool.base / "media" / "shoot").exit_code == 0


def test_a_name_that_no_disk_takes_is_a_sentence(kept: Pool, tmp_path: Path) -> None:
    for option in ("--list", "--folders"):
        folder = tmp_path / ("limpet" * 50)
        refused(sorter("handoff", kept.shoot, "--kind", "burst", option, folder), "name too long")


def test_corrections_that_are_refused_leave_the_shoot_as_it_was(pool: Pool) -> None:
    own = pool.desk / "own.csv"
    own.write_text("the wave came at nine")
    before = tree(pool.shoot)
    refused(sorter("check", pool.shoot, "--write-corrections", own), "Nothing was written")
    assert not (pool.shoot / "checks.csv").exists()
    assert {p: d for p, d in tree(pool.shoot).items() if ".sorter" not in str(p)} == {
        p: d for p, d in before.items() if ".sorter" not in str(p)
    }


@pytest.mark.parametrize("below", ["", "inner", "unfinished"])
def test_no_shoot_is_made_in_what_another_keeps_of_itself(
    pool: Pool, tmp_path: Path, below: str
) -> None:
    hidden = pool.shoot / ".sorter" / below
    before = tree(pool.shoot)
    refused(sorter("ingest", pool.other, hidden), "where a shoot keeps its ledger")
    backed = sorter("ingest", pool.other, tmp_path / "new", "--backup", hidden)
    refused(backed, "where a shoot keeps its ledger")
    assert tree(pool.shoot) == before
