"""The page as HTML, whole in one text but for its pictures, which lie beside it."""

from __future__ import annotations

import base64
import hashlib
from typing import Final

from sorter.model.kinds import SEQUENCE_KINDS
from sorter.page import labels
from sorter.page.parts import Page
from sorter.page.proofs import QUESTIONS

GENERATOR: Final = "sorter report"
"""Names the maker of the page in it: a page that does not is never replaced."""
TEMPLATE: Final = "page.html.jinja"
STYLE: Final = "page.css"
SCRIPT: Final = "page.js"


def render(page: Page) -> str:
    """The page. Every text in it is escaped by the template engine; scripts but its own are forbidden.

    The rule for that is a content security policy (W3C, Content Security Policy Level 3) that names
    the digests of its one style sheet and its one script.
    """
    import jinja2  # noqa: PLC0415  slow to load, and few commands draw pages

    files = jinja2.PackageLoader("sorter.page", "assets")
    engine = jinja2.Environment(
        loader=files,
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style, script = (files.get_source(engine, name)[0] for name in (STYLE, SCRIPT))
    kinds = [(str(kind), labels.label(kind)) for kind in SEQUENCE_KINDS]
    return engine.get_template(TEMPLATE).render(
        page=page,
        every_kind=kinds,
        questions=tuple(QUESTIONS.items()),
        generator=GENERATOR,
        style=style,
        script=script,
        policy=_policy(style, script),
        key=hashlib.sha256(repr(page).encode("utf-8", "surrogatepass")).hexdigest()[:16],
    )


def _policy(style: str, script: str) -> str:
    """Pictures from where the page lies, its own style and script, and nothing else."""
    return "; ".join(
        (
            "default-src 'none'",
            "img-src 'self' file:",
            f"style-src {_digest(style)}",
            f"script-src {_digest(script)}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
