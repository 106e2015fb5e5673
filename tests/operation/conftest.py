"""A database of each kind, as in the tests of the store."""

from __future__ import annotations

from tests.store.conftest import url

__all__ = ["url"]
