"""Finish what was captured into a box, original by original, so that it can be said how far it is."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.box.folder import look_into
from takeup.settings import Settings
from takeup.tasks.ears import Ears
from takeup.tasks.finish import finish_box


class Share(Ears):
    """Turns the progress of one original's steps into that of the whole, by the captures' bytes; never goes back."""

    def __init__(self, ears: Ears, sizes: dict[str, int]) -> None:
        self.ears, self.sizes = ears, sizes
        self.total, self.before, self.within, self.item = max(1, sum(sizes.values())), 0, 0.0, ""
        self.knows = False

    def begin(self, item: str) -> None:
        self.before += self.sizes.get(self.item, 0)
        self.item, self.within, self.knows = item, 0.0, False
        self._tell()

    def progress(self, what: str, done: float, total: float | None, unit: str) -> None:
        """A step's end is not the original's: where the task tells no share, a step is taken to be half of it."""
        if unit == "share":
            self.knows = True
            self.within = max(self.within, min(1.0, done))
            self._tell()
        elif total and not self.knows:
            self.within = max(self.within, 0.5 * min(1.0, done / total))
            self._tell()

    def note(self, key: str, **facts: object) -> None:
        self.ears.note(key, **facts)

    def _tell(self) -> None:
        done = self.before + self.within * self.sizes.get(self.item, 0)
        self.ears.progress(self.item, done, self.total, "bytes")


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Make masters and copies of every checked capture, or of ``asked["item"]``'s."""
    settings = replace(
        settings,
        mend=asked.get("mend_unless_told", settings.mend),
        video_copy=asked.get("copies_unless_told", settings.video_copy),
        page_copy=asked.get("pages_unless_told", settings.page_copy),
    )
    box = look_into(folder, settings)
    sizes: dict[str, int] = {}
    for fact in box.record.latest("taken"):
        sizes[fact.item] = sizes.get(fact.item, 0) + fact.facts["bytes"]
    items = [original.id for original in box.originals() if original.id in sizes]
    items = [item for item in items if asked.get("item") in (None, "", item)]
    share = Share(ears, {item: sizes[item] for item in items})
    made, skipped = 0, []
    for item in items:
        share.begin(item)
        told = {name: asked[name] for name in ("mend", "picture", "copies", "pages") if name in asked}
        done = finish_box(folder, settings, item=item, ears=share, **told)
        made += len(done.made)
        skipped += [[one.item, one.why, {name: str(fact) for name, fact in one.facts.items()}] for one in done.skipped]
    return {"made": made, "skipped": [one for one in skipped if one[1] != "finish.already"]}
