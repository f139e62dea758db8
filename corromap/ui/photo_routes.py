"""Photos for the browser: tiles and thumbnails under an address nobody can guess.

Streamlit's own media files lie open to anyone who has the address. Here every
session gets a token of its own, valid for the photos of one survey, and loses
it when the session is forgotten. Tiles follow the pyramid of
`corromap.io.photo_tiles.TileSource`.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from corromap.errors import CorromapError
from corromap.frames import PhotoId
from corromap.io.photo_tiles import TileSource
from corromap.io.photos import thumbnail

__all__ = ["grant_photos", "is_granted", "photo_routes", "revoke_photos", "thumb_url", "tile_url"]

_PREFIX = "/corromap/photo"
_TOKENS_KEPT = 200
_SOURCES_BYTES = 256 * 1024 * 1024
_ANSWERS_BYTES = 64 * 1024 * 1024
_THUMB_SIZES = (160, 320, 640, 1024, 2048)
_HEADERS = {
    "Cache-Control": "private, max-age=3600",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}

LoadPhoto = Callable[[PhotoId], bytes]
_Key = tuple[str, ...]


@dataclass
class _Kept:
    """What is remembered between requests, oldest out first, bounded in bytes."""

    loaders: OrderedDict[str, LoadPhoto] = field(default_factory=OrderedDict)
    sources: OrderedDict[_Key, TileSource] = field(default_factory=OrderedDict)
    answers: OrderedDict[_Key, bytes] = field(default_factory=OrderedDict)
    answer_bytes: int = 0
    lock: threading.RLock = field(default_factory=threading.RLock)

    def answer(self, key: _Key) -> bytes | None:
        with self.lock:
            if key in self.answers:
                self.answers.move_to_end(key)
            return self.answers.get(key)

    def keep_answer(self, key: _Key, body: bytes) -> None:
        with self.lock:
            self.answer_bytes += len(body) - len(self.answers.get(key, b""))
            self.answers[key] = body
            self.answers.move_to_end(key)
            while self.answer_bytes > _ANSWERS_BYTES and len(self.answers) > 1:
                self.answer_bytes -= len(self.answers.popitem(last=False)[1])

    def source(self, token: str, photo: PhotoId, load: LoadPhoto) -> TileSource:
        key = (token, photo)
        with self.lock:
            if key in self.sources:
                self.sources.move_to_end(key)
                return self.sources[key]
        made = TileSource(load(photo), str(photo))
        with self.lock:
            return self.sources.setdefault(key, made)

    def trim_sources(self) -> None:
        with self.lock:
            while len(self.sources) > 1 and sum(s.held_bytes for s in self.sources.values()) > _SOURCES_BYTES:
                self.sources.popitem(last=False)

    def forget(self, token: str) -> None:
        with self.lock:
            self.loaders.pop(token, None)
            for key in [key for key in self.sources if key[0] == token]:
                del self.sources[key]
            for key in [key for key in self.answers if key[0] == token]:
                self.answer_bytes -= len(self.answers.pop(key))


_KEPT = _Kept()


def grant_photos(load: LoadPhoto) -> str:
    """Let a session fetch the photos of one survey.

    Parameters
    ----------
    load : callable
        Takes a photo id, returns the photo's bytes; raises `CorromapError`
        for a photo the survey does not have.

    Returns
    -------
    str
        Token of 256 random bits; part of every address.
    """
    token = secrets.token_urlsafe(32)
    with _KEPT.lock:
        _KEPT.loaders[token] = load
        oldest = list(_KEPT.loaders)[:-_TOKENS_KEPT]
    for old in oldest:
        _KEPT.forget(old)
    return token


def revoke_photos(token: str) -> None:
    """Take a token back and drop what was kept for it.

    Parameters
    ----------
    token : str
        As `grant_photos` gave it; an unknown one is ignored.
    """
    _KEPT.forget(token)


def is_granted(token: str) -> bool:
    """Whether a token is (still) good.

    Parameters
    ----------
    token : str
        As `grant_photos` gave it.

    Returns
    -------
    bool
        False once it was revoked or pushed out by 200 later ones.
    """
    return token in _KEPT.loaders


def tile_url(token: str, photo: PhotoId) -> str:
    """Address template of a photo's tiles.

    Parameters
    ----------
    token : str
        From `grant_photos`.
    photo : PhotoId
        The photo.

    Returns
    -------
    str
        With ``{z}``, ``{x}`` and ``{y}`` left in it.
    """
    return f"{_PREFIX}/{token}/{photo}/{{z}}/{{x}}/{{y}}.jpg"


def thumb_url(token: str, photo: PhotoId, longest_px: int) -> str:
    """Address of a small upright version of a photo.

    Parameters
    ----------
    token : str
        From `grant_photos`.
    photo : PhotoId
        The photo.
    longest_px : int
        Longest side wanted; the next of the few sizes served is taken.

    Returns
    -------
    str
        Address within this server.
    """
    size = next((s for s in _THUMB_SIZES if s >= longest_px), _THUMB_SIZES[-1])
    return f"{_PREFIX}/{token}/{photo}/thumb-{size}.jpg"


def photo_routes() -> list[BaseRoute]:
    """Routes for ``st.App(..., routes=...)``.

    Returns
    -------
    list of BaseRoute
        Tiles and thumbnails. The handlers are plain functions, so Starlette
        runs them in its thread pool and decoding blocks nobody.
    """
    return [
        Route(f"{_PREFIX}/{{token}}/{{photo}}/{{z:int}}/{{x:int}}/{{y:int}}.jpg", _tile, methods=["GET"]),
        Route(f"{_PREFIX}/{{token}}/{{photo}}/thumb-{{size:int}}.jpg", _thumb, methods=["GET"]),
    ]


def _tile(request: Request) -> Response:
    place = request.path_params
    z, x, y = int(place["z"]), int(place["x"]), int(place["y"])
    key = (str(place["token"]), str(place["photo"]), f"{z}/{x}/{y}")

    def make(load: LoadPhoto) -> bytes:
        body = _KEPT.source(key[0], PhotoId(key[1]), load).tile(z, x, y)
        _KEPT.trim_sources()
        return body

    return _respond(request, key, make)


def _thumb(request: Request) -> Response:
    place = request.path_params
    size = int(place["size"])
    key = (str(place["token"]), str(place["photo"]), f"thumb-{size}")
    if size not in _THUMB_SIZES:
        return _refusal("no such size")
    return _respond(request, key, lambda load: thumbnail(load(PhotoId(key[1])), key[1], size))


def _respond(request: Request, key: _Key, make: Callable[[LoadPhoto], bytes]) -> Response:
    with _KEPT.lock:
        load = _KEPT.loaders.get(key[0])
        if load is not None:
            _KEPT.loaders.move_to_end(key[0])
    if load is None:
        return _refusal("not yours, or the session is over: reload the page")
    body = _KEPT.answer(key)
    if body is None:
        try:
            body = make(load)
        except CorromapError as error:
            return _refusal(str(error))
        _KEPT.keep_answer(key, body)
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={**_HEADERS, "ETag": tag})
    return Response(body, media_type="image/jpeg", headers={**_HEADERS, "ETag": tag})


def _refusal(reason: str) -> Response:
    return Response(reason, status_code=404, media_type="text/plain", headers={"Cache-Control": "no-store"})
