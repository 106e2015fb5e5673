"""The database behind the store, and its transactions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from service.store.repositories import Repositories


class Store:
    """The growers' data in the database that a URL names.

    Parameters
    ----------
    url : str
        ``sqlite:///file``, ``sqlite://`` (in memory, gone with the store) or ``postgresql://...``.

    Raises
    ------
    StoreError
        If the URL names another kind of database, or its driver is not installed.
    """

    def __init__(self, url: str) -> None:
        raise NotImplementedError

    def migrate(self) -> None:
        """Bring the tables to the newest form. Processes that start at once wait for each other."""
        raise NotImplementedError

    @contextmanager
    def transaction(self, grower: str, *, read_only: bool = False) -> Iterator[Repositories]:
        """One transaction on one grower's data: committed at the end, rolled back on an error.

        Writers of one grower wait for each other; ``read_only`` ones wait for nobody, see one moment of the data
        throughout, and cannot write. Take it for everything that only reads, most of all where a model runs long.
        An unknown grower is made by the first transaction that may write.
        """
        raise NotImplementedError
        yield

    def is_answering(self) -> bool:
        """Whether the database can be reached and holds the tables."""
        raise NotImplementedError

    def close(self) -> None:
        """Let go of all connections."""
        raise NotImplementedError
