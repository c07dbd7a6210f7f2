"""Writes what a finished file is to say of itself into it, whatever its kind, and proves that nothing else changed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import pikepdf

from takeup.errors import CopyDiffers
from takeup.media import jpeg_tags, mp4_edit, sound_tags, tiff_tags, wave_file
from takeup.media.iim import iim_records
from takeup.media.matroska_edit import CannotEdit, clusters_sha256, write_tags
from takeup.media.pdf_words import write_pdf_words
from takeup.media.wave_tags import Bext, bext_description, pack_info, unpack_bext, unpack_info
from takeup.media.xmp import xmp_packet
from takeup.plan.tag_names import flac_fields, id3_frames, info_fields, matroska_names, mp4_items
from takeup.plan.tagging import Tags

STEP = 1 << 22
DESCRIPTION, ARTIST, COPYRIGHT, XMP, RECORDS, ORIGINAL_DATE = 270, 315, 33432, 700, 33723, 36867
DIGITISED, DIGITISED_OFFSET, UNIQUE_ID = 36868, 36882, 42016
MOMENT = re.compile(r"[12]\d{3}:[01]\d:[0-3]\d [0-2]\d:[0-5]\d:[0-6]\d")

__all__ = ["CannotEdit", "kind_of", "tag_file"]


def kind_of(path: Path) -> str:
    """The kind of file by its first bytes, as far as descriptions go; "" when none can be written into it."""
    with path.open("rb") as file:
        head = file.read(16)
    if head[:4] in wave_file.FORMS and head[8:12] == b"WAVE":
        return "wave"
    if head[:4] == b"fLaC":
        return "flac"
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "tiff"
    if head[:3] == b"\xff\xd8\xff":
        return "jpeg"
    if head[:3] == b"ID3" or (head[0:1] == b"\xff" and len(head) > 1 and head[1] & 0xE6 == 0xE2):
        return "mp3"
    if head[4:8] in (b"ftyp", b"moov", b"wide", b"mdat"):
        return "mp4"
    if head[:4] == b"\x1aE\xdf\xa3":
        return "matroska"
    return "pdf" if head[:5] == b"%PDF-" else ""


def tag_file(source: Path, target: Path, tags: Tags, source_type: str = "") -> None:
    """Write ``source`` anew as ``target`` with these tags; then compare what is not tags.

    Raises
    ------
    CannotEdit
        When this kind of file has no place for them, or this one no room.
    CopyDiffers
        ``describe.content-differs``: never seen; the target is not kept.
    """
    kind = kind_of(source)
    if kind not in WRITERS:
        raise CannotEdit("no place for descriptions in this kind of file")
    write, content = WRITERS[kind]
    write(source, target, tags, source_type)
    if content(source) != content(target):
        raise CopyDiffers("describe.content-differs", path=str(source))


def _wave(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    wave = wave_file.read_wave(source)
    before: list[tuple[bytes, bytes]] = []
    between: list[tuple[bytes, bytes]] = []
    after: list[tuple[bytes, bytes]] = []
    info: dict[str, str] = {}
    for chunk in wave.chunks:
        if chunk.name in (b"fmt ", b"data", b"ds64", b"JUNK", b"_PMX"):
            continue
        body = wave_file.read_chunk(source, chunk)
        if chunk.name == b"bext":
            before.append((b"bext", _described(unpack_bext(body), tags).pack()))
        elif chunk.name == b"LIST" and body[:4] == b"INFO":
            info = unpack_info(body)
        else:
            (between if chunk.at < wave.data.at else after).append((chunk.name, body))
    info = {name: text for name, text in (info | info_fields(tags)).items() if text}
    after += [(b"LIST", pack_info(info)), (b"_PMX", xmp_packet(tags, source_type))]
    wave_file.write_wave(
        target, wave.format, wave_file.read_samples(source, wave), before=before, between=between, after=after,
        riff_limit_bytes=wave_file.OPEN,
    )  # fmt: skip


def _described(bext: Bext, tags: Tags) -> Bext:
    """The station's fields stay; only the description is told anew. Its date is the recording's, never the family's."""
    name = bext.description.split(":", 1)[0]
    return replace(bext, description=bext_description(name, tags.title, tags.description))


def _mp4(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    mp4_edit.write_mp4_tags(source, target, mp4_items(tags))


def _mp3(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    sound_tags.write_mp3_tags(source, target, id3_frames(tags))


def _flac(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    sound_tags.write_flac_tags(source, target, flac_fields(tags))


def _matroska(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    _copy(source, target)
    write_tags(target, matroska_names(tags))


def _copy(source: Path, target: Path) -> None:
    with source.open("rb") as file, target.open("wb") as out:
        while block := file.read(STEP):
            out.write(block)


def _exif(tags: Tags, standing: str, offset: str) -> tuple[dict[int, tuple[int, bytes]], dict[int, bytes], str]:
    """The fields of a picture, those of its EXIF block, and when it was scanned as both and the packet are to say.

    EXIF fields are ASCII: words of other scripts stand in the XMP packet alone; a date only when it is a day. What a
    scanner's program wrote itself of the moment (``standing``, ``offset``) stays.
    """
    day = tags.exact_day
    texts = {DESCRIPTION: tags.title, ARTIST: tags.creator, COPYRIGHT: tags.rights}
    fields = {
        tag: (tiff_tags.ASCII, text.encode() + b"\0" if text and text.isascii() else b"") for tag, text in texts.items()
    }
    moment = f"{day.year:04d}:{day.month:02d}:{day.day:02d} 00:00:00".encode() + b"\0" if day else b""
    own = {ORIGINAL_DATE: moment}
    if guid := tags.guid:
        own[UNIQUE_ID] = guid.hex.encode() + b"\0"
    if MOMENT.fullmatch(standing):
        return fields, own, f"{standing[:10].replace(':', '-')}T{standing[11:]}{offset}"
    written = tags.scanned.written if tags.scanned else ""
    if written:
        utc = datetime.fromisoformat(written).astimezone(UTC)
        own |= {DIGITISED: utc.strftime("%Y:%m:%d %H:%M:%S").encode() + b"\0", DIGITISED_OFFSET: b"+00:00\0"}
        written = utc.isoformat(timespec="seconds")
    return fields, own, written


def _tiff(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    _copy(source, target)
    with target.open("r+b") as file:
        standing = (tiff_tags.read_exif(file, tag) for tag in (DIGITISED, DIGITISED_OFFSET))
        fields, exif, digitised = _exif(tags, *standing)
        packet = xmp_packet(tags, source_type, digitised)
        records = iim_records(tags, digitised, tiff_tags.read_tiff_tag(source, RECORDS) or b"")
        told = {XMP: (tiff_tags.BYTE, packet), RECORDS: (tiff_tags.UNDEFINED, records)}
        tiff_tags.edit_tiff(file, fields | told, exif)


def _jpeg(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    standing = (jpeg_tags.read_jpeg_exif(source, tag) for tag in (DIGITISED, DIGITISED_OFFSET))
    fields, exif, digitised = _exif(tags, *standing)
    records = iim_records(tags, digitised, jpeg_tags.read_jpeg_records(source))
    jpeg_tags.write_jpeg_tags(source, target, xmp_packet(tags, source_type, digitised), records, fields, exif)


def _pdf(source: Path, target: Path, tags: Tags, source_type: str) -> None:
    with pikepdf.open(source) as pdf:
        write_pdf_words(pdf, tags, source_type)
        pdf.save(target, fix_metadata_version=False)


def _pdf_content(path: Path) -> str:
    """A digest of every page's drawing and of every picture in it, as they are stored."""
    digest = sha256()
    with pikepdf.open(path) as pdf:
        for page in pdf.pages:
            contents = page.obj.get("/Contents")
            for stream in contents if isinstance(contents, pikepdf.Array) else [contents]:
                digest.update(stream.read_bytes() if stream is not None else b"")
        pictures = [
            thing for thing in pdf.objects if isinstance(thing, pikepdf.Stream) and thing.get("/Subtype") == "/Image"
        ]
        for raw in sorted(sha256(picture.read_raw_bytes()).hexdigest() for picture in pictures):
            digest.update(raw.encode())
    return digest.hexdigest()


def _from(start: Callable[[Path], int]) -> Callable[[Path], str]:
    """A digest of a file's bytes from the place that ``start`` gives."""

    def digest(path: Path) -> str:
        with path.open("rb") as file:
            file.seek(start(path))
            return _digest(file, None)

    return digest


def _digest(file, length: int | None) -> str:
    digest, left = sha256(), length
    while left != 0 and (block := file.read(STEP if left is None else min(STEP, left))):
        digest.update(block)
        left = None if left is None else left - len(block)
    return digest.hexdigest()


def _mp4_content(path: Path) -> list[str]:
    with path.open("rb") as file:
        digests = []
        for name, start, end in mp4_edit.top_boxes(file):
            if name not in (b"moov", b"free"):
                file.seek(start)
                digests.append(_digest(file, end - start))
        return digests


def _jpeg_content(path: Path) -> tuple[list[tuple[int, bytes]], str]:
    segments, at = jpeg_tags.jpeg_picture(path)
    return segments, _from(lambda _: at)(path)


def _tiff_content(path: Path) -> str:
    """Every strip and tile of every picture in it, by what its directories say."""
    return tiff_tags.picture_digest(path)


WRITERS: dict[str, tuple[Callable[[Path, Path, Tags, str], None], Callable[[Path], object]]] = {
    "wave": (_wave, wave_file.samples_sha256),
    "mp4": (_mp4, _mp4_content),
    "mp3": (_mp3, _from(sound_tags.mp3_sound_at)),
    "flac": (_flac, _from(sound_tags.flac_sound_at)),
    "matroska": (_matroska, clusters_sha256),
    "tiff": (_tiff, _tiff_content),
    "jpeg": (_jpeg, _jpeg_content),
    "pdf": (_pdf, _pdf_content),
}
