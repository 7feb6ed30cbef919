"""What was worked out or read, the last asked for, as far as there is room."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Any, Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)


class Kept(Generic[Key]):
    """By key, each with a `size`; `most` is how much they may have together. One stays whatever its size."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._held: OrderedDict[Key, Any] = OrderedDict()
        self._size = 0
        self._lock = threading.Lock()

    def get(self, key: Key) -> Any:
        with self._lock:
            found = self._held.get(key)
            if found is not None:
                self._held.move_to_end(key)
            return found

    def put(self, key: Key, found: Any) -> Any:
        with self._lock:
            before = self._held.pop(key, None)
            self._size += found.size - (before.size if before is not None else 0)
            self._held[key] = found
            while self._size > self._most and len(self._held) > 1:
                self._size -= self._held.popitem(last=False)[1].size
        return found

    def clear(self) -> None:
        with self._lock:
            self._held.clear()
            self._size = 0
