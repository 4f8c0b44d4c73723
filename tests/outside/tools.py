"""Tools of others that what was carried is held against: coreutils' sha256sum, and rsync."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from writing.cards import rows


def run(tool: str, *arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The outside tool, in plain English. Fails where it is not there: scripts/test installs it."""
    program = shutil.which(tool)
    assert program is not None, f"{tool} is missing: run scripts/test, or install it"
    return subprocess.run(  # noqa: S603  named in this file
        [program, *arguments],
        capture_output=True, check=False, cwd=cwd, env={**os.environ, "LC_ALL": "C"}, text=True,
    )  # fmt: skip


def rebuilt(shoot: Path, folder: Path) -> Path:
    """The card as the manifest tells it: each destination under its source path, by a hard link."""
    for row in rows(shoot):
        path = folder / row.source
        path.parent.mkdir(parents=True, exist_ok=True)
        os.link(shoot / row.destination, path)
    return folder


def differences(card: Path, other: Path) -> list[str]:
    """What rsync would do to make the other folder like the card: bytes, times, and what is too much."""
    told = run(
        "rsync", "--recursive", "--checksum", "--times", "--omit-dir-times", "--delete",
        "--dry-run", "--itemize-changes", f"{card}/", f"{other}/",
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    return told.stdout.splitlines()


def unlike_their_digests(shoot: Path) -> list[str]:
    """What sha256sum has against the files that SHA256SUMS names."""
    told = run("sha256sum", "--strict", "--quiet", "--check", "SHA256SUMS", cwd=shoot)
    return [*told.stdout.splitlines(), *told.stderr.splitlines()]
