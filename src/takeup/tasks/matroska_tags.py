"""The names of Matroska's own tags for what a finished file says of itself."""

from __future__ import annotations

from takeup.plan.tagging import Tags


def matroska_tags(tags: Tags) -> dict[str, str]:
    """Official names of the Matroska tag list; a date that is not sure stands in the comment alone."""
    return {
        "TITLE": tags.title,
        "SYNOPSIS": tags.description,
        "ARTIST": tags.creator,
        "ACTOR": ", ".join(tags.people),
        "DATE_RECORDED": tags.date_text,
        "RECORDING_LOCATION": tags.place,
        "KEYWORDS": ", ".join(tags.keywords),
        "COPYRIGHT": tags.rights,
        "COLLECTION": tags.album,
        "COMMENT": tags.comment(),
        "ORIGINAL_MEDIA_TYPE": tags.carrier,
    }
