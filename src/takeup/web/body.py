"""Reads a form's body, never more of it than the form may bring; files go to a temporary place."""

from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from pathlib import Path
from urllib.parse import parse_qsl

from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.requests import Request

from takeup.files.own import remove_own
from takeup.web.ask import Ask, Uploaded
from takeup.web.pages import Entry

MOST_FIELDS = 5_000


class TooLarge(Exception):
    """More came than the form may bring."""


async def read_body(request: Request, ask: Ask, entry: Entry) -> Ask:
    """The request with its form's fields and files.

    Raises
    ------
    TooLarge
        When the body is larger than the entry allows, whatever its header says.
    """
    length = request.headers.get("content-length", "")
    if length.isascii() and length.isdigit() and int(length[:18]) > entry.most:
        raise TooLarge
    kind, options = parse_options_header(request.headers.get("content-type", ""))
    if kind == b"multipart/form-data" and options.get(b"boundary"):
        parts = _Parts(entry.most)
        parser = MultipartParser(options[b"boundary"], parts.callbacks())
        seen = 0
        try:
            async for piece in request.stream():
                seen += len(piece)
                if seen > entry.most:
                    raise TooLarge
                parser.write(piece)
            parser.finalize()
        except TooLarge:
            parts.clean()
            raise
        except Exception:  # a body that is no form: what was understood of it is not used
            parts.clean()
            return replace(ask, given={}, lists={})
        finally:
            parts.close()
        return _with(ask, parts.fields, parts.files)
    raw = bytearray()
    async for piece in request.stream():
        raw += piece
        if len(raw) > entry.most:
            raise TooLarge
    if kind == b"application/x-www-form-urlencoded" and entry.door != "station":
        try:
            fields = parse_qsl(raw.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
        except ValueError as error:
            raise TooLarge from error
        return _with(ask, fields, {})
    return replace(ask, raw=bytes(raw), given=dict(ask.given), lists={})


def _with(ask: Ask, fields: list[tuple[str, str]], files: dict[str, Uploaded]) -> Ask:
    given: dict[str, str] = {}
    lists: dict[str, list[str]] = {}
    for name, value in fields:
        value = value.replace("\r\n", "\n").replace("\0", "")
        given[name] = value
        lists.setdefault(name, []).append(value)
    return replace(ask, given=given, lists=lists, files=files)


class _Parts:
    """Collects the parts of a multipart body; a file part is written to a temporary file as it comes."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.fields: list[tuple[str, str]] = []
        self.files: dict[str, Uploaded] = {}
        self._begin()

    def callbacks(self) -> dict:
        return {
            "on_part_begin": self._begin,
            "on_header_field": lambda data, start, end: self._field.extend(data[start:end]),
            "on_header_value": lambda data, start, end: self._value.extend(data[start:end]),
            "on_header_end": self._header,
            "on_headers_finished": self._headers,
            "on_part_data": self._data,
            "on_part_end": self._end,
        }

    def _begin(self) -> None:
        self._field, self._value, self._body = bytearray(), bytearray(), bytearray()
        self._heads: dict[str, bytes] = {}
        self._name, self._file_name, self._handle, self._path, self._size = "", None, None, None, 0

    def _header(self) -> None:
        self._heads[self._field.decode("latin-1").lower()] = bytes(self._value)
        self._field, self._value = bytearray(), bytearray()

    def _headers(self) -> None:
        _, options = parse_options_header(self._heads.get("content-disposition", b""))
        self._name = options.get(b"name", b"").decode("utf-8", "replace")
        if b"filename" in options:
            self._file_name = options[b"filename"].decode("utf-8", "replace")
            handle, path = tempfile.mkstemp(prefix="takeup-form-")
            self._handle, self._path = os.fdopen(handle, "wb"), Path(path)
        elif len(self.fields) >= MOST_FIELDS:
            raise TooLarge

    def _data(self, data: bytes, start: int, end: int) -> None:
        self._size += end - start
        if self._handle:
            self._handle.write(data[start:end])
        else:
            self._body += data[start:end]

    def _end(self) -> None:
        if self._handle and self._path:
            self._handle.close()
            if self._name in self.files or not self._size:
                remove_own(self._path)
            else:
                name = self._file_name or ""
                self.files[self._name] = Uploaded(name=name[:255], bytes=self._size, path=self._path)
            self._handle = self._path = None
        else:
            self.fields.append((self._name, self._body.decode("utf-8", "replace")))

    def close(self) -> None:
        if self._handle:
            self._handle.close()

    def clean(self) -> None:
        self.close()
        for path in [self._path, *(file.path for file in self.files.values())]:
            if path:
                remove_own(path)
