"""A vineyard's planting, taken over as a whole."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from models.records import Cultivar
from service.ingest.any_planting import GridSpacing, read_any_planting
from service.ingest.options import OnBadRows
from service.ingest.planting import ReadPlanting
from service.ingest.table import Content
from service.store.records import Counts
from service.store.repositories import Repositories


@dataclass(frozen=True)
class StoredPlanting:
    """What became of the blocks, which went, which cultivars are new or changed, and in what."""

    blocks: Counts
    removed_blocks: tuple[str, ...]
    new_cultivars: tuple[str, ...]
    changed_cultivars: tuple[str, ...]
    changes: tuple[str, ...]


def read_planting_of(
    records: Repositories,
    vineyard: str,
    data: Content,
    *,
    spacing: GridSpacing | None,
    on_bad_rows: OnBadRows,
) -> ReadPlanting:
    """Read a vineyard's planting, by blocks, or by rows or vines of the grower's cultivars.

    Raises NotFound (vineyard), BadInput.
    """
    records.vineyards.get(vineyard)
    cultivars = {cultivar.key: cultivar for cultivar in records.cultivars.all()}
    return read_any_planting(data, spacing=spacing, cultivars=cultivars, on_bad_rows=on_bad_rows)


def store_planting(records: Repositories, vineyard: str, read: ReadPlanting) -> StoredPlanting:
    """Make these the vineyard's blocks, and their cultivars the grower's.

    A cultivar that is known keeps its name, and what the file leaves out. A block that is not in the file goes;
    what was seen there is kept for the fits.

    Raises
    ------
    NotFound
        If there is no such vineyard.
    """
    stood = {block.key: block for block in records.blocks.all(vineyard)}
    records.journal.say("planting", vineyard=vineyard)
    known = {cultivar.key: cultivar for cultivar in records.cultivars.all()}
    new = [cultivar for cultivar in read.cultivars if cultivar.key not in known]
    merged = [_merged(known[cultivar.key], cultivar) for cultivar in read.cultivars if cultivar.key in known]
    changed = [cultivar for cultivar in merged if cultivar != known[cultivar.key]]
    for cultivar in [*new, *changed]:
        records.cultivars.put(cultivar, beside={cultivar.key for cultivar in new})
    # a file says nothing of cold air: what was told of it stays
    blocks = [
        replace(block, colder_than_station_c=stood[block.key].colder_than_station_c)
        if block.key in stood
        else block
        for block in read.blocks
    ]
    kept = records.blocks.with_past(vineyard, stood.keys() - {block.key for block in read.blocks})
    removed = sorted(stood.keys() - {block.key for block in read.blocks})
    return StoredPlanting(
        blocks=records.blocks.replace_all(vineyard, blocks),
        removed_blocks=tuple(removed),
        new_cultivars=tuple(sorted(cultivar.key for cultivar in new)),
        changed_cultivars=tuple(sorted(cultivar.key for cultivar in changed)),
        changes=(
            *(text for cultivar in changed for text in _changes(known[cultivar.key], cultivar)),
            *(f"block {key} goes; what was seen there is kept for the fits" for key in kept),
        ),
    )


def _merged(old: Cultivar, new: Cultivar) -> Cultivar:
    return replace(
        new,
        name=old.name,
        species=old.species if new.species is None else new.species,
        berry_mass_g=old.berry_mass_g if new.berry_mass_g is None else new.berry_mass_g,
        receptive_days=old.receptive_days if new.receptive_days is None else new.receptive_days,
        pollen_days=old.pollen_days if new.pollen_days is None else new.pollen_days,
        blooms_like=old.blooms_like if new.blooms_like is None else new.blooms_like,
        days_later=old.days_later if new.blooms_like is None else new.days_later,
        # of these a file says nothing
        pollen_quality=old.pollen_quality,
        flowers_a_vine=old.flowers_a_vine,
        pollen_notes=old.pollen_notes,
    )


def _changes(old: Cultivar, new: Cultivar) -> Iterator[str]:
    for trait in (
        "species",
        "flower_type",
        "viable_pollen",
        "berry_mass_g",
        "receptive_days",
        "pollen_days",
        "blooms_like",
        "days_later",
    ):
        before, after = getattr(old, trait), getattr(new, trait)
        if before != after:
            change = f"{trait} was {_in_words(before)} and is now {_in_words(after)}"
            yield f"cultivar {new.key}: {change}, in every vineyard"


def _in_words(value: object) -> str:
    match value:
        case None:
            return "not given"
        case bool():
            return "yes" if value else "no"
    return str(value)
