"""Arrays used again for strip after strip, where new ones would each be fetched from the system."""

from __future__ import annotations

import math
import threading
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Number = TypeVar("Number", bound=np.generic)


class Scratch(threading.local):
    """Arrays by name, for each thread its own."""

    def __init__(self) -> None:
        self._held: dict[str, NDArray[Any]] = {}

    def array(self, name: str, shape: tuple[int, ...], kind: type[Number]) -> NDArray[Number]:
        """Return a contiguous array that holds anything, until the name is asked for again."""
        n_values = math.prod(shape)
        held = self._held.get(name)
        if held is None or held.size < n_values or held.dtype != kind:
            held = self._held[name] = np.empty(n_values, dtype=kind)
        return held[:n_values].reshape(shape)
