"""Handing a survey on: report, folder of photos and JSON, copy of the file.

Made when asked for and sent once, under the session's own token. Streamlit's
download button would keep the whole thing, photos included, at an address that
is open to anyone who has it.
"""

from __future__ import annotations

import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from corromap.errors import CorromapError
from corromap.io.survey_file import SurveyFile
from corromap.ui.surveys import SUFFIX

__all__ = ["HandOut", "copy_bytes", "grant_hand_outs", "hand_out_routes", "hand_out_url"]

_PREFIX = "/corromap/handout"
_TOKENS_KEPT = 200
_GRANTED: OrderedDict[str, Mapping[str, HandOut]] = OrderedDict()
_LOCK = threading.Lock()
_HEADERS = {
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    # the report is our own page with texts from outside in it: it gets neither scripts nor this origin
    "Content-Security-Policy": "sandbox; default-src 'none'; img-src data:; style-src 'unsafe-inline'; font-src data:",
}


@dataclass(frozen=True, slots=True)
class HandOut:
    """Something that can be handed on.

    Parameters
    ----------
    name : str
        File name.
    media_type : str
        MIME type.
    make : callable
        Returns its bytes; may raise `CorromapError`.
    """

    name: str
    media_type: str
    make: Callable[[], bytes]


def grant_hand_outs(token: str, offers: Mapping[str, HandOut]) -> None:
    """Let a session fetch some things.

    Parameters
    ----------
    token : str
        The session's token, from `corromap.ui.photo_routes.grant_photos`.
    offers : mapping of str to HandOut
        By a short name; replaces what was offered under the token before.
    """
    with _LOCK:
        _GRANTED[token] = offers
        _GRANTED.move_to_end(token)
        while len(_GRANTED) > _TOKENS_KEPT:
            _GRANTED.popitem(last=False)


def hand_out_url(token: str, kind: str, *, shown: bool = False) -> str:
    """Address of a hand-out.

    Parameters
    ----------
    token : str
        The session's token.
    kind : str
        Its short name.
    shown : bool
        To be shown in the browser rather than saved.

    Returns
    -------
    str
        Address within this server.
    """
    return f"{_PREFIX}/{token}/{kind}{'?shown=1' if shown else ''}"


def hand_out_routes() -> list[BaseRoute]:
    """Routes for ``st.App(..., routes=...)``.

    Returns
    -------
    list of BaseRoute
        One route, run in Starlette's thread pool.
    """
    return [Route(f"{_PREFIX}/{{token}}/{{kind}}", _send, methods=["GET"])]


def _send(request: Request) -> Response:
    with _LOCK:
        offers = _GRANTED.get(str(request.path_params["token"]), {})
    offer = offers.get(str(request.path_params["kind"]))
    if offer is None:
        return _refusal("Not yours, or the session is over: reload the app's page.", 404)
    try:
        body = offer.make()
    except CorromapError as error:
        return _refusal(f"Not made: {error}", 409)
    where = "inline" if request.query_params.get("shown") else "attachment"
    disposition = f"{where}; filename*=UTF-8''{quote(offer.name)}"
    return Response(body, media_type=offer.media_type, headers={**_HEADERS, "Content-Disposition": disposition})


def _refusal(reason: str, status: int) -> Response:
    return Response(reason, status_code=status, media_type="text/plain", headers=_HEADERS)


def copy_bytes(file: SurveyFile) -> bytes:
    """Make a clean copy of the survey file.

    Parameters
    ----------
    file : SurveyFile
        The survey.

    Returns
    -------
    bytes
        A whole survey file, never the live one.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    with tempfile.TemporaryDirectory() as scratch:
        return file.save_copy(Path(scratch) / f"copy{SUFFIX}").read_bytes()
