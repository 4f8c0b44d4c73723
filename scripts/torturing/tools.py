"""Tools of others, against every state that the words call verified: coreutils' sha256sum, and rsync."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

from torturing.claims import Scene, answerable, is_all_verified
from torturing.pool import Place
from torturing.states import Copy

NAME: Final = re.compile(r"\w+\.\w{3}\b")


def against_words(scene: Scene, place: Place, reference: Path) -> list[str]:
    """What they have against a copy of which all is called verified, or a card that all was put back on.

    reference: what the card is to hold, or has held. Files that the words name are left out.
    """
    found: list[str] = []
    is_of_all = answerable(scene).keys() >= scene.known.once.keys()
    for folder, copy in ((place.shoot, scene.after.shoot), (place.other, scene.after.other)):
        if is_of_all and is_all_verified(scene.ended, other=folder == place.other):
            found += _unlike_their_digests(folder)
            found += _differences(_rebuilt(folder, copy, scene.known.once), reference)
    if scene.ended.undoes and scene.ended.code == 0:
        found += _differences(place.card, reference)
    return [line for line in found if not _is_named(line, scene.ended.said)]


def _is_named(line: str, said: str) -> bool:
    """Whether the words name the files that the line is about."""
    names = NAME.findall(line)
    return bool(names) and all(name in said for name in names)


def check_tools() -> None:
    """Raises SystemExit where one of them is not installed."""
    missing = [tool for tool in ("sha256sum", "rsync") if shutil.which(tool) is None]
    if missing:
        raise SystemExit(f"--tools needs {' and '.join(missing)}: install it, or leave --tools out")


def _unlike_their_digests(folder: Path) -> list[str]:
    told = _run("sha256sum", "--strict", "--quiet", "--check", "SHA256SUMS", cwd=folder)
    said = told.stdout if told.stdout or not told.returncode else told.stderr
    return [f"sha256sum: {line}" for line in said.splitlines()]


def _differences(one: Path, two: Path) -> list[str]:
    """What rsync would do to make the second folder like the first, whose links it follows."""
    told = _run(
        "rsync", "--recursive", "--copy-links", "--checksum", "--times", "--omit-dir-times",
        "--delete", "--dry-run", "--itemize-changes", f"{one}/", f"{two}/",
    )  # fmt: skip
    return [f"rsync: {line}" for line in (*told.stdout.splitlines(), *told.stderr.splitlines())]


def _rebuilt(folder: Path, copy: Copy, once: dict[str, str]) -> Path:
    """The card as the manifest tells it, by links; of a path's several files the one that it had last."""
    again = folder.with_name("rebuilt")
    shutil.rmtree(again, ignore_errors=True)
    for source, places in copy.sources.items():
        known = [place for place in places if copy.whole.get(place) == once.get(source)]
        path = again / source
        path.parent.mkdir(parents=True, exist_ok=True)
        for place in (*places, *known)[-1:]:
            path.symlink_to(folder / place)
    return again


def _run(tool: str, *arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    program = shutil.which(tool) or tool
    return subprocess.run(  # noqa: S603  named in this file
        [program, *arguments],
        capture_output=True, check=False, cwd=cwd, env={**os.environ, "LC_ALL": "C"}, text=True,
    )  # fmt: skip
