"""What a look found of a card's files in a shoot, byte by byte. A value."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.plan import ContentCheck, Entry


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Pairs of a path on the card and what was found of its file, in the order in which it was found.

    there, failed, missing, changed, edited: entries of the shoot, closed: the system's reasons; held and
    original are by number. Each means what it means in a Comparison. other: paths in their order.
    """

    there: tuple[tuple[str, Entry], ...] = ()
    failed: tuple[tuple[str, Entry], ...] = ()
    missing: tuple[tuple[str, Entry], ...] = ()
    changed: tuple[tuple[str, Entry], ...] = ()
    edited: tuple[tuple[str, Entry], ...] = ()
    closed: tuple[tuple[str, str], ...] = ()
    held: tuple[tuple[int, ContentCheck], ...] = ()
    original: tuple[tuple[int, ContentCheck], ...] = ()
    other: tuple[str, ...] = ()

    @property
    def bad(self) -> dict[str, Entry]:
        """Those whose copies are not there any more, or not as they were; sidecars that were edited apart."""
        return {**dict(self.missing), **dict(self.changed)}

    def agrees(self, other: Compared) -> bool:
        """Whether both found the same; how sure the readings were does not count."""
        return self._known == other._known

    @property
    def _known(self) -> tuple[object, ...]:
        both = (self.there, self.failed, self.missing, self.changed, self.edited, self.closed)
        return (*both, tuple(number for number, held in self.held if held), self.other)
