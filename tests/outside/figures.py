"""How many values are the same, by reference and field; run by scripts/compare_corpus."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from corpusmaking.fetching import complete
from outside import corpus
from outside.comparison import (
    KNOWN_TO,
    NOBODY,
    RULES,
    cases,
    differences,
    is_theirs,
    rule_for,
    table,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Of one field and reference: values that are the same, that differ, and that a rule explains.

    theirs: of how many of those that differ the table says that the reference is wrong.
    """

    reference: str
    field: str
    same: int = 0
    different: int = 0
    by_rule: int = 0
    theirs: int = 0

    @property
    def known(self) -> int:
        """How many values the reference knows."""
        return self.same + self.different + self.by_rule

    @property
    def share(self) -> float:
        """The part that is the same, of what the sorter means to know."""
        return self.same / max(self.same + self.different, 1)

    @staticmethod
    def together(parts: Iterable[Figure]) -> Figure:
        """The sum of several."""
        listed = list(parts)
        return Figure(
            reference=listed[0].reference,
            field="together",
            same=sum(part.same for part in listed),
            different=sum(part.different for part in listed),
            by_rule=sum(part.by_rule for part in listed),
            theirs=sum(part.theirs for part in listed),
        )


def figures() -> list[Figure]:
    """One for each field that each reference knows."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for case in cases():
        how = "same" if case.same else "by rule" if rule_for(case) else "different"
        counts[case.reference, case.field, how] += 1
        counts[case.reference, case.field, "theirs"] += how == "different" and is_theirs(case)
    return [
        Figure(
            reference=reference,
            field=field,
            same=counts[reference, field, "same"],
            different=counts[reference, field, "different"],
            by_rule=counts[reference, field, "by rule"],
            theirs=counts[reference, field, "theirs"],
        )
        for reference, known in KNOWN_TO.items()
        for field in known
    ]


def lines() -> list[str]:
    """The figures as a table, what each rule explains, and every difference that nothing explains."""
    found = figures()
    shown = [
        f"{'reference':10} {'field':14} {'known':>6} {'same':>6} {'differ':>6} {'by rule':>7}  same of same + differ"
    ]
    for reference in KNOWN_TO:
        parts = [figure for figure in found if figure.reference == reference]
        shown += [_line(figure) for figure in (*parts, Figure.together(parts))]
    shown.append(_line(Figure.together(found)).replace(found[0].reference, "all", 1))
    read = corpus.readings()
    tried = sum(map(corpus.crafted, read))
    shown.append(f"files read: {len(read)}, of them made to break readers: {tried}")
    alone = sum(case.reference == NOBODY for case in differences())
    shown.append(f"known to the sorter alone: {alone}")
    for rule in RULES:
        count = sum(not case.same and rule_for(case) is rule for case in cases())
        shown.append(f"by the rule {rule.name!r}: {count}, for {rule.reason}")
    unexplained = [case.line for case in differences() if case.line not in table()]
    shown.append(f"differences that are not in the table: {len(unexplained)}")
    return shown + [",".join(line) for line in unexplained]


def _line(figure: Figure) -> str:
    counts = f"{figure.known:6} {figure.same:6} {figure.different:6} {figure.by_rule:7}"
    return f"{figure.reference:10} {figure.field:14} {counts}  {figure.share:7.2%}"


def main() -> int:
    """Prints the table: 0 done, 1 there is no corpus."""
    if not complete(corpus.FOLDER):
        sys.stderr.write(f"{corpus.FOLDER} is not there: run scripts/fetch_corpus\n")
        return 1
    sys.stdout.write("\n".join(lines()) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
