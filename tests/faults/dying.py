"""A disk that dies at any of the calls made to it, and what it may have lost by then.

The work is done in a forked child that kills itself (SIGKILL) at one point: before a call that
changes the disk or forces it, in the middle of a write, before a commit of SQLite, or at its end. Of
what was not forced by then a disk may keep or lose anything. So the child tells which files and names
these are, and afterwards they are spoiled:

- bytes: a file written to and not forced since (fsync of the file, syncfs) is cut or zeroed;
- names: what was made, renamed or removed in a folder that was not forced since is as it was before.
  A rename is one step, forced with the folder that it leads to. The names of the card and those of
  the shoot are lost apart from each other, for they may lie on two disks.

The files of SQLite are left alone: it forces its own. Its cache is made so small that it writes into
its file before a commit, so that a cut there leaves a journal that has to be rolled back.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import stat
import traceback
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final, TypeAlias

from sorter.disk.systems import linux

Mark: TypeAlias = tuple[int, int]
"""A file or folder as the system tells it from others: device and inode."""

UNFINISHED: Final = ("/.sorter/unfinished/", ".sorter-unfinished")
"""Where a file may be half-written: behind the first, or with the second at its end."""
NEVER: Final = 0
"""The number of no point: the child lives to the end of its work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Name:
    """A name that was made, renamed, or removed: at path, from before, where a grave holds what was there."""

    how: str
    path: str
    folder: Mark
    before: str = ""
    grave: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Death:
    """How far the child came: the point, its words, and what was not forced to the disk by then."""

    point: int
    verb: str
    dirty: frozenset[Mark]
    names: tuple[Name, ...]

    def names_below(self, root: Path) -> tuple[Name, ...]:
        """Those of the names that are the folder or lie below it."""
        return tuple(
            name for name in self.names if root in (Path(name.path), *Path(name.path).parents)
        )


class Disk:
    """The system's calls, watched in the child; at the point of that number it dies.

    by: the signal that it sends itself there. One that it outlives comes at no commit, as SQLite
    would not hand on what is raised there.
    """

    def __init__(
        self, death: int, report: Path, graves: Path, *, by: signal.Signals = signal.SIGKILL
    ) -> None:
        self._death = death
        self._by = by
        self._report = report
        self._graves = graves
        self._made = 0
        self._buried = 0
        self._dirty: set[Mark] = set()
        self._names: list[Name] = []
        self._second_name = os.link  # as the system has it: graves are no calls of the work

    def watch(self) -> None:
        """From now on, for the rest of this process. A call that is not there any more is an error."""
        self._instead(os, "open", self._open)
        self._instead(os, "write", self._write)
        self._instead(os, "fsync", self._fsync)
        self._instead(os, "utime", self._utime)
        self._instead(os, "mkdir", self._mkdir)
        self._instead(os, "rmdir", self._rmdir)
        self._instead(os, "unlink", self._unlink)
        self._instead(os, "link", self._link)
        self._instead(os, "rename", self._rename)
        self._instead(os, "replace", self._replace)
        self._instead(linux, "library", self._system)
        self._instead(sqlite3, "connect", self._connect)
        if self._by is not signal.SIGKILL:  # changes nothing, but a run may be stopped there
            self._instead(linux, "open_past", self._open_past)

    @property
    def is_told(self) -> bool:
        """Whether the point was come to."""
        return self._made >= self._death > NEVER

    def ends(self) -> None:
        """Tells what is not forced at the end of the work, or at its death."""
        self._tell("the end")

    def fails(self, why: str) -> None:
        """Tells why the work itself failed."""
        self._report.write_text(why)

    def _instead(self, owner: object, verb: str, call: Callable[..., object]) -> None:
        done = getattr(owner, verb)
        setattr(owner, verb, lambda *given, **named: call(done, *given, **named))

    def _point(self, verb: str, last: Callable[[], object] = lambda: None) -> None:
        self._made += 1
        if self._made == self._death:
            last()
            self._tell(verb)
            os.kill(os.getpid(), self._by)

    def _tell(self, verb: str) -> None:
        names = [asdict(name) for name in self._names]
        told = {"point": self._made, "verb": verb, "dirty": sorted(self._dirty), "names": names}
        self._report.write_text(json.dumps(told))

    # ---- bytes -----------------------------------------------------------------------------

    def _write(self, done: Callable[..., Any], handle: int, data: memoryview) -> Any:  # noqa: ANN401  as the system's
        self._point("write")
        self._dirty.add(_mark(handle))
        self._point("half a write", lambda: done(handle, data[: len(data) // 2]))
        return done(handle, data)

    def _fsync(self, done: Callable[..., Any], handle: int) -> None:
        self._point("force a folder" if _is_folder(handle) else "force a file")
        done(handle)
        mark = _mark(handle)
        self._dirty.discard(mark)
        self._names = [name for name in self._names if name.folder != mark]

    def _utime(self, done: Callable[..., Any], *given: object, **named: object) -> None:
        self._point("utime")
        done(*given, **named)

    def _open_past(self, done: Callable[..., Any], *given: object, **named: object) -> object:
        self._point("read back")
        return done(*given, **named)

    def _system(self, done: Callable[[], Any]) -> object:
        return _Library(done(), self._sync, self._rename_exclusive)

    def _sync(self, done: Callable[..., int], handle: int) -> int:
        self._point("force all")
        failed = done(handle)
        self._dirty.clear()
        self._names.clear()
        return failed

    # ---- names -----------------------------------------------------------------------------

    def _open(self, done: Callable[..., int], path: str, flags: int, *given: int) -> int:
        if not flags & os.O_CREAT:
            return done(path, flags, *given)
        self._point("make a file")
        handle = done(path, flags, *given)
        self._note("made", path)
        return handle

    def _mkdir(self, done: Callable[..., Any], path: str, *given: object, **named: object) -> None:
        self._point("mkdir")
        done(path, *given, **named)
        self._note("made", path)

    def _rmdir(self, done: Callable[..., Any], path: str) -> None:
        self._point("rmdir")
        folder = _mark(Path(path).parent)
        done(path)
        self._names.append(Name(how="folder removed", path=str(path), folder=folder))

    def _unlink(self, done: Callable[..., Any], path: str) -> None:
        self._point("unlink")
        grave = self._bury(path)
        done(path)
        self._note("removed", path, grave=grave)

    def _replace(self, done: Callable[..., Any], source: str, target: str) -> None:
        self._point("replace")
        grave = self._bury(target)
        done(source, target)
        self._note("renamed", target, before=source, grave=grave)

    def _rename(self, done: Callable[..., Any], source: str, target: str) -> None:
        self._point("rename")
        done(source, target)
        self._note("renamed", target, before=source)

    def _link(self, done: Callable[..., Any], source: str, target: str, **named: object) -> None:
        self._point("link")
        done(source, target, **named)
        self._note("made", target)

    def _rename_exclusive(self, done: Callable[..., int], *given: Any) -> int:  # noqa: ANN401  as the system's
        self._point("rename")
        failed = done(*given)
        if not failed:
            self._note("renamed", os.fsdecode(given[3]), before=os.fsdecode(given[1]))
        return failed

    def _note(self, how: str, path: str, *, before: str = "", grave: str = "") -> None:
        folder = _mark(Path(path).parent)
        name = Name(how=how, path=str(path), folder=folder, before=str(before), grave=grave)
        self._names.append(name)

    def _bury(self, path: str) -> str:
        """A second name for what is removed, out of reach of the work; none where nothing is there."""
        if not os.path.lexists(path):
            return ""
        self._buried += 1
        grave = self._graves / str(self._buried)
        self._second_name(path, grave)
        return str(grave)

    # ---- the ledger ------------------------------------------------------------------------

    def _connect(self, done: Callable[..., Any], *given: Any, **named: Any) -> sqlite3.Connection:  # noqa: ANN401  as the system's
        self._point("open the ledger")
        base: sqlite3.Connection = done(*given, **named)
        base.execute("PRAGMA cache_size = 1")
        base.set_trace_callback(self._statement)
        return base

    def _statement(self, text: str) -> None:
        if text.startswith("COMMIT") and self._by is signal.SIGKILL:
            self._point("commit")


class _Library:
    """The system's library with the two calls that Python does not name watched."""

    def __init__(
        self,
        library: Any,  # noqa: ANN401  ctypes' own
        sync: Callable[..., int],
        rename: Callable[..., int],
    ) -> None:
        self._library = library
        self._sync = sync
        self._rename = rename

    def syncfs(self, handle: int) -> int:
        return self._sync(self._library.syncfs, handle)

    def renameat2(self, *given: object) -> int:
        return self._rename(self._library.renameat2, *given)


def _mark(place: int | Path) -> Mark:
    about = place.stat() if isinstance(place, Path) else os.fstat(place)
    return about.st_dev, about.st_ino


def _is_folder(handle: int) -> bool:
    return stat.S_ISDIR(os.fstat(handle).st_mode)


# ---- the child ---------------------------------------------------------------------------------


def died(work: Callable[[], object], point: int, scratch: Path) -> Death:
    """The work done in a child that dies at this point; what it told of what was not forced.

    Raises AssertionError where the work itself failed before.
    """
    report, graves = scratch / "death.json", scratch / "graves"
    shutil.rmtree(graves, ignore_errors=True)
    graves.mkdir(parents=True)
    report.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        _live(work, Disk(point, report, graves))
    _, status = os.waitpid(child, 0)
    killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
    assert killed or os.waitstatus_to_exitcode(status) == 0, report.read_text()
    return _death(report)


def _live(work: Callable[[], object], disk: Disk) -> None:
    """Never returns."""
    code = 1
    try:
        disk.watch()
        work()
        disk.ends()
        code = 0
    except BaseException:  # noqa: BLE001  told by the parent, which is the one that can fail
        disk.fails(traceback.format_exc())
    finally:
        os._exit(code)


def _death(report: Path) -> Death:
    told = json.loads(report.read_text())
    return Death(
        point=told["point"],
        verb=told["verb"],
        dirty=frozenset((device, inode) for device, inode in told["dirty"]),
        names=tuple(Name(**{**name, "folder": tuple(name["folder"])}) for name in told["names"]),
    )


@contextlib.contextmanager
def one_after_the_other() -> Iterator[None]:
    """Threads' work is done at once where it is handed in, so that each point has its number."""
    submit = ThreadPoolExecutor.submit

    def at_once(
        _self: ThreadPoolExecutor, work: Callable[..., object], /, *given: object, **named: object
    ) -> Future[object]:
        future: Future[object] = Future()
        try:
            future.set_result(work(*given, **named))
        except BaseException as error:  # noqa: BLE001  as a thread hands it on
            future.set_exception(error)
        return future

    ThreadPoolExecutor.submit = at_once  # type: ignore[assignment,method-assign]
    try:
        yield
    finally:
        ThreadPoolExecutor.submit = submit  # type: ignore[method-assign]


# ---- afterwards --------------------------------------------------------------------------------


def files_of(root: Path, marks: Iterable[Mark]) -> list[Path]:
    """Where the files of these marks lie below the folder."""
    wanted = set(marks)
    paths = (path for path in root.rglob("*") if path.is_file() and not path.is_symlink())
    return [path for path in paths if _mark(path) in wanted]


def spoil(paths: Iterable[Path], *, zeros: bool) -> None:
    """What was not forced: half of the bytes are there, or as many as were written, all of them zero."""
    for path in paths:
        size = path.stat().st_size
        if zeros:
            path.write_bytes(bytes(size))
        else:
            os.truncate(path, size // 2)


def lose_names(names: Iterable[Name]) -> None:
    """The names are as they were before, the last first."""
    for name in reversed(tuple(names)):
        _undone[name.how](name)


def _unmade(name: Name) -> None:
    path = Path(name.path)
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _unrenamed(name: Name) -> None:
    if os.path.lexists(name.path) and Path(name.before).parent.is_dir():
        Path(name.path).rename(name.before)
    _unremoved(name)


def _unremoved(name: Name) -> None:
    if name.grave and Path(name.path).parent.is_dir() and not os.path.lexists(name.path):
        os.link(name.grave, name.path)


def _unremoved_folder(name: Name) -> None:
    Path(name.path).mkdir(parents=True, exist_ok=True)


_undone: Final[dict[str, Callable[[Name], None]]] = {
    "made": _unmade,
    "renamed": _unrenamed,
    "removed": _unremoved,
    "folder removed": _unremoved_folder,
}
