"""A box on the disk: where things lie in it, and how a command opens it.

::

    BOX/
      takeup-box.sqlite        the record
      captures/<item>/         stored captures, as they came off the station; never altered, never removed by us
      masters/<item>/  copies/<item>/     what finish made
      parcel/                  the last parcel built
      receipts/                receipts, as JSON and as a page to print
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from takeup.box.record import Record
from takeup.errors import NotPossible
from takeup.files.beside import sweep
from takeup.files.lock import held
from takeup.settings import Settings
from takeup.streams import Original

CAPTURES, MASTERS, COPIES, PARCEL, RECEIPTS = "captures", "masters", "copies", "parcel", "receipts"


@dataclass(frozen=True, slots=True)
class Box:
    """One visitor's box: its folder and its record."""

    folder: Path
    record: Record

    @property
    def name(self) -> str:
        return self.folder.name

    @property
    def title(self) -> str:
        """What the letter calls the box: as its family put it, else the folder's name."""
        started = self.record.latest("box-started")
        return (started[-1].facts.get("title") if started else "") or self.name

    def path(self, relative: str) -> Path:
        """A path of a fact as it lies on this disk today."""
        return self.folder.joinpath(*relative.split("/"))

    def relative(self, path: Path) -> str:
        """A path in the box as facts hold it: with ``/``, free of the place where the box lies."""
        return path.relative_to(self.folder).as_posix()

    def originals(self) -> list[Original]:
        """The item list as it was given, in its order; what was taken off the list again is left out."""
        listed = self.record.latest("item-listed")
        return [original_from(fact.facts) for fact in listed if not fact.facts.get("withdrawn")]


def original_from(facts: dict) -> Original:
    """An item as its fact holds it."""
    known = {name: facts[name] for name in Original.__dataclass_fields__ if name in facts}
    return Original(**known | {"condition": tuple(facts.get("condition", ()))})


def look_into(folder: Path, settings: Settings) -> Box:
    """Open a box to read it.

    Raises
    ------
    NotPossible
        ``box.not-there`` when the folder holds no box.
    """
    folder = Path(folder).absolute()
    box = Box(folder, Record(folder, settings.who))
    if not box.record.exists():
        raise NotPossible("box.not-there", path=str(folder))
    return box


@contextmanager
def work_in(folder: Path, doing: str, settings: Settings) -> Iterator[Box]:
    """Open a box to change it: nobody else does meanwhile, and what an interrupted command left is swept first."""
    box = look_into(folder, settings)
    with held(box.folder, doing, settings.wait_s):
        sweep(box.folder)
        yield box
