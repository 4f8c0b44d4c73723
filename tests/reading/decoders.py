"""Which decoders of makers' notes there are: read out of their folder, so that no test lists them."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from types import FunctionType, ModuleType

from sorter.reading import makers
from sorter.reading.makers import note
from sorter.reading.makers.note import Decoder


def modules() -> dict[str, ModuleType]:
    """Every module of reading/makers/ that reads a note, by its name; note.py only finds whose it is."""
    names = [found.name for found in pkgutil.iter_modules(makers.__path__)]
    loaded = {name: importlib.import_module(f"{makers.__name__}.{name}") for name in names}
    return {name: one for name, one in loaded.items() if one is not note and _readers(one)}


def _readers(module: ModuleType) -> list[FunctionType]:
    """The functions of a module that are called `read…` and take a note."""
    return [
        value
        for name, value in vars(module).items()
        if name.startswith("read")
        and isinstance(value, FunctionType)
        and value.__module__ == module.__name__
        and "Note" in inspect.get_annotations(value).values()
    ]


def reached() -> dict[str, Decoder]:
    """Every decoder that a table of note.py names, by its module and name: "leica.read_own"."""
    rows = (*note.SIGNATURES, *note.BARE)
    return {name_of(decode): decode for _, decode in rows}


def name_of(decode: Decoder) -> str:
    """The decoder's module and name: "leica.read_own"."""
    assert isinstance(decode, FunctionType)
    return f"{decode.__module__.rpartition('.')[2]}.{decode.__name__}"
