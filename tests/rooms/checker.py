"""What a module of a room may not do, read out of its source: pure, so that tests can feed it."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from typing import Final

from reading import decoders

# Who may import whom. A room may always import itself, and `sorter` for the version.
OURS: Final[dict[str, frozenset[str]]] = {
    "errors": frozenset(),
    "model": frozenset(),
    "grouping": frozenset({"model"}),
    "checking": frozenset({"model"}),
    "planning": frozenset({"model"}),
    "page": frozenset({"model"}),
    "optics": frozenset({"model"}),
    "disk": frozenset({"model", "errors"}),
    "settings": frozenset({"model", "errors", "disk"}),
    "reading": frozenset({"model", "errors", "disk"}),
    "pixels": frozenset({"model", "errors", "disk"}),
    "writing": frozenset({"model", "errors", "disk"}),
    "manifest": frozenset({"model", "errors", "disk"}),
    "handoff": frozenset({"model", "errors", "disk"}),
    "pipeline": frozenset(
        {"model", "errors", "settings", "disk", "reading", "grouping", "pixels", "checking"}
        | {"planning", "page", "writing", "manifest", "handoff", "optics"}
    ),
    "api": frozenset(
        {"model", "errors", "settings", "disk", "manifest", "planning", "handoff", "writing"}
        | {"pipeline"}
    ),
    "cli": frozenset({"model", "errors", "settings", "api"}),
    "__main__": frozenset({"cli"}),
    "__init__": frozenset({"api", "errors"}),
}
PURE: Final = frozenset({"model", "grouping", "checking", "planning", "page", "optics"})
OUTSIDE: Final = frozenset(
    {"os", "io", "time", "random", "subprocess", "socket", "pathlib", "shutil", "tempfile"}
    | {"PIL", "pandas", "click", "rich"}
)
# Only when called, so that starting up costs nothing: no import of these on a module's own level.
HEAVY: Final = frozenset({"rich", "pandas", "jinja2"})
WRITERS: Final = frozenset(
    {"disk/files.py", "disk/permission.py", "disk/output.py", "disk/shoot.py", "disk/stacks.py"}
    | {"disk/workplace.py"}
    | {"disk/systems/posix.py", "disk/systems/windows.py", "writing/ledger/connection.py"}
)
SYSTEMS: Final = "disk/systems/"
"""The only place where systems may be told apart."""
_PLATFORM: Final = frozenset({"sys.platform", "os.name", "sys.getwindowsversion", "os.uname"})
PRINTER: Final = "cli/console.py"
OTHER_NAMES: Final = frozenset(
    {"om ?system", "om ?digital", "lumix", "fuji", "foveon", "hasselblad", "phase ?one", "konica"}
)
"""Names of makers and of what they sell that no module of reading/makers/ is called by."""
MAKERS: Final = "|".join(sorted({*decoders.modules(), *OTHER_NAMES}, key=len, reverse=True))
# Where a name may stand outside reading/makers/, and why.
NAMED_ELSEWHERE: Final = {
    "reading/containers/raf.py": "fujifilm",  # the first bytes of the format spell it
}

_MAKER: Final = re.compile(rf"(?<![a-z])({MAKERS})(?![a-z])", re.IGNORECASE)
_TAG: Final = re.compile(r"0x[0-9a-f]{3,}", re.IGNORECASE)
_CHANGES: Final = frozenset(
    {"unlink", "rename", "renames", "rmdir", "removedirs", "mkdir", "makedirs", "rmtree", "touch"}
    | {"write_text", "write_bytes", "symlink_to", "hardlink_to", "chmod", "lchmod", "utime"}
    | {"symlink", "link", "truncate", "copyfile", "copy2", "copytree", "mkstemp", "mkdtemp"}
)
# A few bytes may unpack to gigabytes. Only pixels/ is to decode pictures, and no more than it allows for.
_UNPACKERS: Final = frozenset({"gzip", "bz2", "lzma", "zipfile", "tarfile", "PIL"})
_UNPACKS: Final = frozenset({"decompress", "decompressobj", "unpack_archive"})
_WRITE_FLAGS: Final = frozenset({"O_WRONLY", "O_RDWR", "O_CREAT", "O_TRUNC", "O_APPEND"})


def faults(path: str, source: str) -> list[str]:
    """Every rule that the module breaks. path: below sorter/, with forward slashes."""
    tree = ast.parse(source)
    rules: list[Callable[[str, ast.Module], Iterator[str]]] = [
        _imports_of_ours,
        _outside_world,
        _heavy_imports,
        _changing,
        _unpacking,
        _printing,
        _asking_for_the_system,
        _maker_names,
    ]
    found = [fault for rule in rules for fault in rule(path, tree)]
    return [*found, *_tag_numbers(path, source, tree)]


def room(path: str) -> str:
    """The room (or the lone module) that a path lies in."""
    first, slash, _ = path.partition("/")
    return first if slash else first.removesuffix(".py")


def _imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                yield "." * node.level
            elif node.module == "sorter":
                yield from (f"sorter.{alias.name}" for alias in node.names)
            else:
                yield node.module or ""


def _imports_of_ours(path: str, tree: ast.Module) -> Iterator[str]:
    own = room(path)
    if own not in OURS:
        yield f"{own} is no room that the table knows"
        return
    for name in _imported(tree):
        if name.startswith("."):
            yield "relative import: say the whole name"
        first, _, rest = name.partition(".")
        other = rest.partition(".")[0]
        if first != "sorter" or other in ("", "__version__", own):
            continue
        if other not in OURS[own]:
            yield f"{own} imports {other}"


def _outside_world(path: str, tree: ast.Module) -> Iterator[str]:
    if room(path) in PURE:
        outer = {name.partition(".")[0] for name in _imported(tree)} & OUTSIDE
        yield from (f"the pure room {room(path)} imports {name}" for name in sorted(outer))
        called = {node.func.id for node in _calls(tree) if isinstance(node.func, ast.Name)}
        yield from (f"{room(path)} calls {name}" for name in sorted(called & {"open", "input"}))


def _heavy_imports(path: str, tree: ast.Module) -> Iterator[str]:
    for node in tree.body:
        for name in _imported(node) if isinstance(node, ast.Import | ast.ImportFrom) else ():
            if name.partition(".")[0] in HEAVY:
                yield f"{path} imports {name} before it is called"


def _calls(tree: ast.AST) -> Iterator[ast.Call]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def _changing(path: str, tree: ast.Module) -> Iterator[str]:
    if path in WRITERS:
        return
    for call in _calls(tree):
        name = _called(call)
        if name in _CHANGES or (name in ("replace", "remove") and _is_of_os(call)):
            yield f"calls {name}"
        if name == "open" and _opens_for_writing(call):
            yield "opens for writing"
    if path != PRINTER:  # it opens the null device, for what a closed pipe no longer takes
        names = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        yield from (f"uses {name}" for name in sorted(names & _WRITE_FLAGS))


def _unpacking(path: str, tree: ast.Module) -> Iterator[str]:
    for name in _imported(tree):
        if name.partition(".")[0] in _UNPACKERS and room(path) != "pixels":
            yield f"imports {name}, which unpacks what it is given"
    names = {_called(call) for call in _calls(tree)}
    names |= {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    yield from (f"calls {name} without a limit" for name in sorted(names & _UNPACKS))


def _called(call: ast.Call) -> str:
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


def _is_of_os(call: ast.Call) -> bool:
    """os.replace and os.remove; also path.replace(target), which takes one argument and no name."""
    assert isinstance(call.func, ast.Attribute | ast.Name)
    if isinstance(call.func, ast.Name):
        return False  # dataclasses.replace
    owner = call.func.value
    is_os = isinstance(owner, ast.Name) and owner.id in ("os", "shutil")
    return is_os or (call.func.attr == "replace" and len(call.args) == 1 and not call.keywords)


def _opens_for_writing(call: ast.Call) -> bool:
    modes = [keyword.value for keyword in call.keywords if keyword.arg == "mode"]
    modes += call.args[:2]
    texts = [mode.value for mode in modes if isinstance(mode, ast.Constant)]
    return any(
        isinstance(text, str) and re.fullmatch(r"[rwaxbt+]*[wax+][bt+]*", text) for text in texts
    )


def _printing(path: str, tree: ast.Module) -> Iterator[str]:
    if path == PRINTER:
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _called(node) in ("print", "echo", "secho", "pprint"):
            yield f"calls {_called(node)}"
        if isinstance(node, ast.Attribute) and node.attr in ("stdout", "stderr"):
            yield f"uses {node.attr}"
    if any(name.partition(".")[0] == "rich" for name in _imported(tree)):
        yield "imports rich"


def _asking_for_the_system(path: str, tree: ast.Module) -> Iterator[str]:
    if path.startswith(SYSTEMS):
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and ast.unparse(node) in _PLATFORM:
            yield f"asks for {ast.unparse(node)}"
        if isinstance(node, ast.Call) and _called(node) in ("hasattr", "getattr") and node.args:
            owner = ast.unparse(node.args[0])
            if owner in ("os", "sys", "signal", "socket"):
                yield f"asks what {owner} has"
    if "platform" in {name.partition(".")[0] for name in _imported(tree)}:
        yield "imports platform"


def _maker_names(path: str, tree: ast.Module) -> Iterator[str]:
    if path.startswith("reading/makers/"):
        return
    for name in _names(tree):
        if name.lower() != NAMED_ELSEWHERE.get(path):
            yield f"names {name!r}"


def _names(tree: ast.Module) -> Iterator[str]:
    said = _docstrings(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and node not in said:
            yield from _named(node.value)
        elif isinstance(node, ast.Name):
            yield from _named(node.id)
        elif isinstance(node, ast.Attribute):
            yield from _named(node.attr)
        elif isinstance(node, ast.FunctionDef | ast.ClassDef | ast.alias):
            yield from _named(node.name)
        elif isinstance(node, ast.arg):
            yield from _named(node.arg)


def _named(value: object) -> Iterator[str]:
    text = value.decode("latin-1") if isinstance(value, bytes) else value
    if isinstance(text, str):
        yield from (match[0] for match in _MAKER.finditer(text.replace("_", " ")))


def _docstrings(tree: ast.Module) -> set[ast.AST]:
    """Every text that is a statement of its own: it explains, and decides nothing."""
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }


def _tag_numbers(path: str, source: str, tree: ast.Module) -> Iterator[str]:
    """Numbers written as tags are: hexadecimal of three digits and more."""
    if path.startswith(("reading/", SYSTEMS)):  # a system's own numbers look alike
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and type(node.value) is int:
            text = ast.get_source_segment(source, node) or ""
            if _TAG.fullmatch(text):
                yield f"holds {text}, which looks like a tag"
