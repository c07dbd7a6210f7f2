"""A station speaks to its desk: one connection kept open, JSON both ways, a plain answer however it goes."""

from __future__ import annotations

import http.client
import json
import re
import secrets
import ssl
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from takeup.errors import NotPossible
from takeup.tasks.watch_spool import as_json, keep_key, kept_key

WAIT_S = 30.0  # a piece on a slow disk takes seconds; longer than this is no answer


class Away(Exception):
    """The desk does not answer."""


class NotNow(Exception):
    """The desk cannot take this now (its disk is full, it is restarting)."""


class Unpaired(Exception):
    """The desk does not know the key."""


@dataclass(frozen=True, slots=True)
class Said:
    """The desk's answer."""

    status: int
    facts: dict[str, Any]


def answered(said: Said) -> dict[str, Any]:
    """The facts of an answer that is one.

    Raises
    ------
    Unpaired, NotNow
    """
    if said.status == 403:
        raise Unpaired
    if said.status != 200:
        raise NotNow
    return said.facts


class Talk:
    """Speaks with a station's key. For one thread at a time."""

    def __init__(self, url: str, key: str) -> None:
        self.url, self.key = url, key
        parts = _parts(url)
        self.host, self.port, self.secure = parts.hostname or "", parts.port, parts.scheme == "https"
        self.base = parts.path.rstrip("/")
        self.connection: http.client.HTTPConnection | None = None

    def get(self, path: str) -> Said:
        return self._ask("GET", path, None, {})

    def post(self, path: str, facts: dict[str, Any]) -> Said:
        body = as_json(facts).encode()
        return self._ask("POST", path, body, {"Content-Type": "application/json"})

    def send(self, path: str, piece: bytes, sha256: str) -> Said:
        """A piece of a capture as it is."""
        headers = {"Content-Type": "application/octet-stream", "X-Piece-SHA256": sha256}
        return self._ask("POST", path, piece, headers)

    def _ask(self, method: str, path: str, body: bytes | None, headers: dict[str, str]) -> Said:
        headers = headers | {"Accept": "application/json"}
        if self.key:
            headers["Authorization"] = f"Bearer {self.key}"
        answer, data = self._exchange(method, path, body, headers)
        try:
            facts = json.loads(data)
        except ValueError:
            facts = {}
        return Said(answer.status, facts if isinstance(facts, dict) else {})

    def _exchange(
        self, method: str, path: str, body: bytes | None, headers: dict[str, str]
    ) -> tuple[http.client.HTTPResponse, bytes]:
        """One request; on a kept connection that the desk has closed meanwhile, once more on a new one."""
        for fresh in (False, True):
            kept = self.connection is not None and not fresh
            try:
                if not kept:
                    self.close()
                    self.connection = self._connect()
                assert self.connection is not None
                self.connection.request(method, self.base + path, body, headers)
                answer = self.connection.getresponse()
                return answer, answer.read()
            except (OSError, http.client.HTTPException) as error:
                self.close()
                if not kept:
                    raise Away(str(error) or type(error).__name__) from error
        raise AssertionError

    def _connect(self) -> http.client.HTTPConnection:
        if self.secure:
            return http.client.HTTPSConnection(
                self.host, self.port, timeout=WAIT_S, context=ssl.create_default_context()
            )
        return http.client.HTTPConnection(self.host, self.port, timeout=WAIT_S)

    def close(self) -> None:
        if self.connection is not None:
            self.connection.close()
            self.connection = None


def _parts(url: str) -> Any:
    try:
        parts = urlsplit(url)
        known = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port or True)
    except ValueError:
        known = False
    if not known:
        raise NotPossible("watch.bad-address", url=url)
    return parts


def key_for(url: str, station: str, folder: Path, key: str, code: str) -> str:
    """The key to speak with: the one given, one that this code pairs for and that is kept from now on, or the kept one.

    Raises
    ------
    NotPossible
        ``watch.not-paired`` when the desk does not take the code; ``watch.needs-key``; ``watch.no-desk``.
    """
    if code:
        key = _pair(url, station, code)
        keep_key(folder, key)
        return key
    found = key.strip() or kept_key(folder)
    if not found:
        raise NotPossible("watch.needs-key", station=station)
    _parts(url)
    return found


def _pair(url: str, station: str, code: str) -> str:
    """Send the code as the desk's own page would; the key that it gives."""
    talk = Talk(url, "")
    cookie = {"Cookie": f"takeup={secrets.token_urlsafe(24)}", "Accept": "text/html"}
    try:
        _, page = talk._exchange("GET", "/pair", None, cookie)
        token = re.search(r'name="form_token" value="([^"]+)"', page.decode("utf-8", "replace"))
        fields = {"form_token": unescape(token[1]) if token else "", "station": station, "code": code}
        headers = cookie | {"Content-Type": "application/x-www-form-urlencoded", "Accept": "application/json"}
        answer, data = talk._exchange("POST", "/pair", urlencode(fields).encode(), headers)
    except Away as error:
        raise NotPossible("watch.no-desk", url=url, error=str(error)) from error
    finally:
        talk.close()
    try:
        facts = json.loads(data)
    except ValueError:
        facts = {}
    if answer.status != 200 or not facts.get("key"):
        raise NotPossible("watch.not-paired", url=url, station=station, why=facts.get("why", str(answer.status)))
    return str(facts["key"])
