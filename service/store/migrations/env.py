"""How Alembic reaches the database: by the connection that ``service.store.migrating`` hands over."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context

from service.store.tables import Base, UtcDateTime


def render_item(_kind: str, item: Any, _context: Any) -> str | Literal[False]:
    """A step must run in years to come, so it does not lean on the types of today."""
    return "sa.DateTime(timezone=True)" if isinstance(item, UtcDateTime) else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    render_item=render_item,
)
with context.begin_transaction():
    context.run_migrations()
