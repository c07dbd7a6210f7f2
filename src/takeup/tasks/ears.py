"""How a task tells whoever started it how far it is. Silent unless a face listens."""

from __future__ import annotations


class Ears:
    """Hears nothing. A face hands in its own."""

    def progress(self, what: str, done: float, total: float | None, unit: str) -> None:
        """``what``: a file or item name; ``done`` of ``total`` in ``unit`` (``bytes``, ``seconds``, ``files``).

        ``share`` is how far the whole of an item is, told beside its steps: a face that shows steps passes it over.
        """

    def note(self, key: str, **facts: object) -> None:
        """Something worth saying at once: a key of ``words/notes.toml``."""


SILENT = Ears()
