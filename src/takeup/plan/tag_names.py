"""Each kind of file's own names for what a finished file says of itself. Pure.

A date that is not sure goes into no date field: it stands in the comment, in words.
"""

from __future__ import annotations

from takeup.plan.tagging import Tags


def info_fields(tags: Tags) -> dict[str, str]:
    """INFO list of a WAVE file; an empty text takes a field away."""
    return {
        "INAM": tags.title,
        "IART": tags.creator,
        "ICMT": tags.comment(),
        "ICRD": tags.date_text,
        "IKEY": "; ".join(tags.keywords),
        "ICOP": tags.rights,
        "IPRD": tags.album,
        "IARL": tags.id,
    }


def mp4_items(tags: Tags) -> dict[str, str | tuple[int, int]]:
    """Item list of MP4, M4A and MOV."""
    items: dict[str, str | tuple[int, int]] = {
        "\xa9nam": tags.title,
        "\xa9alb": tags.album,
        "\xa9day": tags.date_text,
        "\xa9cmt": tags.comment(),
        "desc": tags.description,
        "keyw": ", ".join(tags.keywords),
        "cprt": tags.rights,
    }
    if tags.creator:
        items["\xa9ART"] = tags.creator
    if tags.tracks > 1:
        items["trkn"] = (tags.track, tags.tracks)
    return items


def id3_frames(tags: Tags) -> dict[str, str]:
    """Frames of an ID3v2.4 tag."""
    return {
        "TIT2": tags.title,
        "TPE1": tags.creator,
        "TALB": tags.album,
        "TRCK": f"{tags.track}/{tags.tracks}" if tags.tracks > 1 else "",
        "TDRC": tags.date_text,
        "COMM": tags.comment(),
        "TCOP": tags.rights,
    }


def flac_fields(tags: Tags) -> dict[str, str]:
    """Comment fields of a FLAC file."""
    return {
        "TITLE": tags.title,
        "ARTIST": tags.creator,
        "ALBUM": tags.album,
        "DATE": tags.date_text,
        "DESCRIPTION": tags.description,
        "COMMENT": tags.comment(),
        "PERFORMER": ", ".join(tags.people),
        "LOCATION": tags.place,
        "COPYRIGHT": tags.rights,
    }


def matroska_names(tags: Tags) -> dict[str, str]:
    """Official names of the Matroska tag list."""
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
