"""The blocks of a vineyard, one by one or as a whole planting."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import Query, Request, Response

from models.errors import BadInput, Problem
from models.records import Block
from service.api.change_schemas import WriteReceipt
from service.api.editing import IfMatch, Patch, check_unchanged, patch_of, patched, tagged
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.planting_schemas import BlockAnswer, BlockBody, BlockList, RenameBody
from service.api.responses import created_or_replaced, problems, wants_csv
from service.usecases.documents import Slug
from service.web.keys import BlockKey, VineyardKey
from service.web.records import Reading, Writing

router = part("/v1/vineyards/{vineyard}/blocks", "vineyards")


def answer(block: Block) -> BlockAnswer:
    """A block as the client sees it."""
    fields = asdict(block)
    return BlockAnswer(block=fields.pop("key"), **fields)


def from_body(key: str, body: BlockBody) -> Block:
    """The block that a client tells. Raises BadInput (it names itself)."""
    fields = body.model_dump()
    if body.neighbours is not None:
        if key in body.neighbours:
            raise BadInput(
                "a block is not its own neighbour", [Problem("body.neighbours", f"leave out {key!r}")]
            )
        fields["neighbours"] = tuple(dict.fromkeys(body.neighbours))
    try:
        return Block(key, **fields)
    except BadInput as error:
        problems = [Problem(f"body.{each.where}", each.problem) for each in error.problems]
        raise BadInput(error.message, problems) from None


@router.get(
    "",
    summary="List the blocks of a vineyard",
    response_model=BlockList,
    responses={**AS_CSV, **problems(404)},
)
def list_blocks(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    page: PageAsked,
    cultivar: Annotated[Slug | None, Query(description="Only blocks of this cultivar.")] = None,
) -> BlockList | Response:
    """All blocks of a vineyard, by identifier; as CSV with `Accept: text/csv`."""
    found = [block for block in records.blocks.all(vineyard) if cultivar in (None, block.cultivar)]
    blocks, next_page = paged(found, page, lambda block: (block.key,))
    answers = [answer(block) for block in blocks]
    if wants_csv(request):
        columns = ["block", *BlockBody.model_fields]
        return csv_answer(request, columns, [each.model_dump() for each in answers], next_page)
    return BlockList(vineyard=vineyard, blocks=answers, next=next_page)


@router.put(
    "/{block}",
    summary="Create or replace a block",
    responses={201: {"model": BlockAnswer}, **problems(404, 412)},
)
def put_block(
    vineyard: VineyardKey,
    key: BlockKey,
    body: BlockBody,
    response: Response,
    records: Writing,
    if_match: IfMatch = None,
) -> BlockAnswer:
    """Create a block (201) or replace it (200). Its neighbours may be put later."""
    check_unchanged(if_match, lambda: answer(records.blocks.get(vineyard, key)))
    block = from_body(key, body)
    created_or_replaced(response, new=records.blocks.put(vineyard, block))
    return tagged(response, answer(block))


@router.patch(
    "/{block}",
    summary="Change fields of a block",
    responses=problems(404, 412),
    openapi_extra=patch_of(BlockBody),
)
def patch_block(
    vineyard: VineyardKey,
    key: BlockKey,
    patch: Patch,
    response: Response,
    records: Writing,
    if_match: IfMatch = None,
) -> BlockAnswer:
    """Change the fields that are named; the others stay."""
    current = answer(records.blocks.get(vineyard, key))
    check_unchanged(if_match, lambda: current)
    block = from_body(key, patched(BlockBody, current, patch))
    records.blocks.put(vineyard, block)
    return tagged(response, answer(block))


@router.get("/{block}", summary="Show a block", responses=problems(404))
def get_block(vineyard: VineyardKey, key: BlockKey, response: Response, records: Reading) -> BlockAnswer:
    """Cultivar, place and neighbours of a block."""
    return tagged(response, answer(records.blocks.get(vineyard, key)))


@router.post("/{block}/rename", summary="Rename a block", responses=problems(404, 409, 412))
def rename_block(
    vineyard: VineyardKey,
    key: BlockKey,
    body: RenameBody,
    response: Response,
    records: Writing,
    if_match: IfMatch = None,
) -> BlockAnswer:
    """Give a block another identifier. What was seen there, its frost marks and the blocks that name it as a
    neighbour follow; refused (409) if a block of that name stands or stood here.
    """
    check_unchanged(if_match, lambda: answer(records.blocks.get(vineyard, key)))
    block = records.blocks.rename(vineyard, key, body.to)
    records.journal.say("rename_block", vineyard=vineyard, block=key, to=body.to)
    return tagged(response, answer(block))


@router.delete("/{block}", summary="Delete a block", responses=problems(404, 409, 412))
def delete_block(
    vineyard: VineyardKey,
    key: BlockKey,
    records: Writing,
    past: Annotated[
        Literal["keep", "delete"],
        Query(description="What was seen there is kept for the fits; `delete` deletes it too."),
    ] = "keep",
    if_match: IfMatch = None,
) -> WriteReceipt:
    """Take a block out of the planting; refused (409) while a neighbour names it.

    What was seen there goes on teaching the fits. A block that is put again under this name has that past.
    """
    check_unchanged(if_match, lambda: answer(records.blocks.get(vineyard, key)))
    records.blocks.delete(vineyard, key, past=past)
    return WriteReceipt.of(records.journal)
