"""The blocks of a vineyard, one by one or as a whole planting."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Response

from models.errors import BadInput, Problem
from models.records import Block
from service.api.responses import created_or_replaced, problems
from service.api.schemas import BlockAnswer, BlockBody, BlockList
from service.web.keys import BlockKey, VineyardKey
from service.web.records import Reading, Writing

router = APIRouter(prefix="/v1/vineyards/{vineyard}/blocks", tags=["vineyards"])


def answer(block: Block) -> BlockAnswer:
    """A block as the client sees it."""
    fields = asdict(block)
    return BlockAnswer(block=fields.pop("key"), **fields)


@router.get("", summary="List the blocks of a vineyard", responses=problems(404))
def list_blocks(vineyard: VineyardKey, records: Reading) -> BlockList:
    """All blocks of a vineyard, by identifier."""
    return BlockList(vineyard=vineyard, blocks=[answer(block) for block in records.blocks.all(vineyard)])


@router.put(
    "/{block}", summary="Create or replace a block", responses={201: {"model": BlockAnswer}, **problems(404)}
)
def put_block(
    vineyard: VineyardKey, key: BlockKey, body: BlockBody, response: Response, records: Writing
) -> BlockAnswer:
    """Create a block (201) or replace it (200). Its neighbours may be put later."""
    fields = body.model_dump()
    if body.neighbours is not None:
        if key in body.neighbours:
            raise BadInput(
                "a block is not its own neighbour", [Problem("body.neighbours", f"leave out {key!r}")]
            )
        fields["neighbours"] = tuple(dict.fromkeys(body.neighbours))
    block = Block(key, **fields)
    created_or_replaced(response, new=records.blocks.put(vineyard, block))
    return answer(block)


@router.get("/{block}", summary="Show a block", responses=problems(404))
def get_block(vineyard: VineyardKey, key: BlockKey, records: Reading) -> BlockAnswer:
    """Cultivar, place and neighbours of a block."""
    return answer(records.blocks.get(vineyard, key))


@router.delete("/{block}", summary="Delete a block", status_code=204, responses=problems(404, 409))
def delete_block(vineyard: VineyardKey, key: BlockKey, records: Writing) -> None:
    """Delete a block; refused (409) while an observation or a neighbour names it."""
    records.blocks.delete(vineyard, key)
