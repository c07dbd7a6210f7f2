"""Which loops are called: for the trials that have the loops compiled."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any


def listened_to(loops: Any, names: Iterable[str]) -> tuple[dict[str, Callable[..., Any]], set[str]]:
    """The loops of these names, each noting that it was called, and the set of names that fills as they are."""
    called: set[str] = set()

    def listening(name: str) -> Callable[..., Any]:
        loop = getattr(loops, name)

        def call(*arguments: Any) -> Any:
            called.add(name)
            return loop(*arguments)

        return call

    return {name: listening(name) for name in names}, called
