"""Markdown to what a page shows: headings that can be linked to, tables, and no HTML of the text's own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup

HELP = "/help/"

_PARSER = MarkdownIt("commonmark", {"html": False}).enable("table")
_TABLE = '<div class="wide" tabindex="0" role="region" aria-label="Table">\n<table>\n'
_PARSER.add_render_rule("table_open", lambda *_: _TABLE)
_PARSER.add_render_rule("table_close", lambda *_: "</table>\n</div>\n")


def rendered(text: str) -> Markup:
    """A Markdown text; links to other help pages' files become links to the pages."""
    tokens = _PARSER.parse(text)
    _name_headings(tokens)
    for token in tokens:
        for link in token.children or ():
            if link.type == "link_open":
                link.attrs["href"] = _address(str(link.attrs["href"]))
    return Markup(_PARSER.renderer.render(tokens, _PARSER.options, {}))


def in_line(text: str) -> Markup:
    """A Markdown text without paragraphs, for a cell or a caption."""
    return Markup(_PARSER.renderInline(text))


def anchor(heading: str) -> str:
    """What a heading is linked by: its words in small letters, with hyphens."""
    return re.sub(r"[^\w -]", "", heading).lower().replace(" ", "-")


def _name_headings(tokens: Sequence[Token]) -> None:
    for opened, words in pairwise(tokens):
        if opened.type == "heading_open":
            opened.attrs["id"] = anchor(words.content)


def _address(target: str) -> str:
    file = re.fullmatch(r"(\w+)\.md(#.*)?", target)
    return target if file is None else f"{HELP}{file[1]}{file[2] or ''}"
