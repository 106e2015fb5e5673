"""What one process keeps in memory, up to a bound: what was not asked for longest goes first."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Bounded(Generic[Key, Value]):
    """Values by key, for all threads of a process.

    Parameters
    ----------
    most : float
        Of the sizes of all values.
    size : callable
        Of one value; by default each counts one.
    """

    def __init__(self, most: float, size: Callable[[Value], float] = lambda _: 1) -> None:
        self._most = most
        self._size = size
        self._taken = 0.0
        self._values: OrderedDict[Key, Value] = OrderedDict()
        self._lock = Lock()

    def find(self, key: Key) -> Value | None:
        """The value, if it is kept."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
            return self._values.get(key)

    def keep(self, key: Key, value: Value) -> None:
        """Put a value in the place of the one with the same key."""
        with self._lock:
            self._drop(key)
            self._values[key] = value
            self._taken += self._size(value)
            while self._taken > self._most:
                self._drop(next(iter(self._values)))

    def _drop(self, key: Key) -> None:
        old = self._values.pop(key, None)
        if old is not None:
            self._taken -= self._size(old)
