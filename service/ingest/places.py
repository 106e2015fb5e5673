"""Which block or cultivar a row of a bloom log or of visits speaks of."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from models.errors import BadInput
from service.ingest.cells import shown
from service.ingest.names import slug
from service.likeness import nearest

MOST_NAMES_LISTED = 30


def find_place(block: str, cultivar: str, *, blocks: Mapping[str, str] | None) -> tuple[str | None, str]:
    """Block and cultivar key of a row; the block is None where a row speaks of a whole cultivar.

    Parameters
    ----------
    block, cultivar : str
        As written; at least one is not blank.
    blocks : mapping of block key to cultivar key, or None
        The planting; None where none is known, so that every name is taken and the cultivar is needed.

    Raises
    ------
    BadInput
        If both are blank, or one is unknown, or the block holds another cultivar.
    """
    block_key = slug(block) if block else None
    if blocks is None:
        if not cultivar:
            raise BadInput("the cultivar is blank")
        return block_key, slug(cultivar)
    if cultivar and slug(cultivar) not in blocks.values():
        known = _known("cultivars", slug(cultivar), set(blocks.values()))
        raise BadInput(f"unknown cultivar {shown(cultivar)}; {known}")
    if block_key is None:
        if not cultivar:
            raise BadInput("neither block nor cultivar is given")
        return None, slug(cultivar)
    if block_key not in blocks:
        raise BadInput(f"unknown block {shown(block)}; {_known('blocks', block_key, blocks)}")
    if cultivar and slug(cultivar) != blocks[block_key]:
        raise BadInput(f"block {shown(block)} holds {blocks[block_key]!r}, not {shown(cultivar)}")
    return block_key, blocks[block_key]


def place_text(block: str | None, cultivar: str) -> str:
    """How a message calls a block, or a whole cultivar."""
    return f"cultivar {cultivar}" if block is None else f"block {block}"


def _known(what: str, told: str, names: Collection[str]) -> str:
    if not names:
        return f"no {what} are known yet, so send the planting first"
    near = nearest(told, names)
    if near is not None:
        return f"did you mean {near}?"
    listed = sorted(names)[:MOST_NAMES_LISTED]
    more = f" and {len(names) - len(listed)} more" if len(names) > len(listed) else ""
    return f"the known {what} are {', '.join(listed)}{more}"
