"""What the app says of the evidence: how well a photo can be judged, what to ask for, the whole picture."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import streamlit as st

from corromap.evidence.wording import seller_text
from corromap.frames import PhotoId
from corromap.io.photo_quality import ExaminedPhoto
from corromap.report.evidence_page import judged_photos, requests_of
from corromap.report.shot_list import shot_list_html
from corromap.report.whole_picture_file import write_whole_picture
from corromap.survey import Photo
from corromap.ui import state
from corromap.ui.hand_out import HandOut, grant_hand_outs, hand_out_url
from corromap.ui.markup import Cell, esc, lead, show, table

__all__ = [
    "figures_table",
    "offer_photo_list",
    "photo_words",
    "remark_table",
    "remarked",
    "request_page",
    "screen_scale",
    "show_seller_message",
    "whole_picture",
]

_SCREEN_MM_PER_PX = 2.0


def photo_words(held: state.OpenSurvey, photo: Photo) -> tuple[str, ...]:
    """Say how well a photo can be judged, and whether it repeats another one.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        One of its photos.

    Returns
    -------
    tuple of str
        Sentences; empty when nothing stands out.
    """
    return _told(held).get(photo.id, ("It cannot be decoded, so nobody can judge anything on it.",))


def _told(held: state.OpenSurvey) -> dict[PhotoId, tuple[str, ...]]:
    return judged_photos(held.evaluation, held.examined)


def remarked(held: state.OpenSurvey) -> int:
    """Count the photos of which something has to be said.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    int
        How many.
    """
    return sum(bool(lines) for lines in _told(held).values())


def remark_table(held: state.OpenSurvey) -> str:
    """List the photos of which something has to be said, those that can be judged least first.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    str
        HTML; empty when nothing stands out.
    """
    told, rows = _told(held), []
    for number, photo in enumerate(held.survey.photos, start=1):
        if told.get(photo.id):
            usable = _usable(held, photo)
            rows.append((usable, [_name(number, photo), " ".join(told[photo.id]), f"{100 * usable:.0f} %"]))
    if not rows:
        return ""
    return table(
        ["Photo", "What stands out", "of it can be judged"],
        [row for _, row in sorted(rows, key=lambda one: one[0])],
        numeric=frozenset({2}),
        caption="Take these again if you can: a dark one with a lamp held to one side, a blurred one with the camera "
        "leant against something. Until then, ground that cannot be judged counts as not shown well enough.",
    )


def figures_table(held: state.OpenSurvey) -> str:
    """List the figures of every photo.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    str
        HTML.
    """
    rows = [
        [_name(number, photo), *_figures(held.examined.get(photo.id))]
        for number, photo in enumerate(held.survey.photos, start=1)
    ]
    return table(
        ["Photo", "can be judged", "too dark", "too bright", "blur", "JPEG quality"],
        rows,
        numeric=frozenset({1, 2, 3, 4, 5}),
        caption="Can be judged: share of the photo that is neither black, white nor blurred. Blur: width of the edges "
        "(sigma), pixels of the full photo. JPEG quality: 1 to 100, estimated from the file.",
    )


def _name(number: int, photo: Photo) -> Cell:
    return Cell(f"{number} {photo.name}", small=photo.source)


def _usable(held: state.OpenSurvey, photo: Photo) -> float:
    found = held.examined.get(photo.id)
    return found.quality.usable_share if found is not None and found.quality is not None else 0.0


def _figures(found: ExaminedPhoto | None) -> list[str]:
    if found is None or found.quality is None:
        return ["nothing", "", "", "", ""]
    judged, compressed = found.quality, found.origin.jpeg_quality
    return [
        f"{100 * judged.usable_share:.0f} %",
        f"{100 * judged.dark_share:.0f} %",
        f"{100 * judged.blown_share:.0f} %",
        "cannot tell" if math.isnan(judged.blur_px) else f"{judged.blur_px:.1f} px",
        str(compressed) if compressed else "",
    ]


def request_page(held: state.OpenSurvey) -> bytes:
    """Make the list of photos to take, as a page to print.

    Parameters
    ----------
    held : OpenSurvey
        The open survey; without photos the standard list of its body.

    Returns
    -------
    bytes
        HTML.
    """
    return shot_list_html(requests_of(held.evaluation, held.examined), held.template).encode()


def offer_photo_list(held: state.OpenSurvey) -> None:
    """Offer the list of photos to take, to be read on the spot or printed.

    It replaces what else the page offers for download.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    name = f"photos-to-take-{held.template.id}.html"
    grant_hand_outs(held.token, {"requests": HandOut(name, "text/html; charset=utf-8", lambda: request_page(held))})
    address = esc(f"{hand_out_url(held.token, 'requests', shown=True)}&revision={held.record.revision}")
    what = "Open the photos to ask for" if held.survey.photos else "Open the list of photos to take"
    show(
        f'<ul class="cm-gets"><li><a class="cm-get" target="_blank" data-get="requests" href="{address}">'
        f"{what}</a><span>From where, which way, how near, with what light, with drawings and the cautions for going "
        "under a car. To read at the car or to print.</span></li></ul>"
    )


def show_seller_message(held: state.OpenSurvey) -> None:
    """Offer the same list as a polite message to a seller, to be copied into an e-mail.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    """
    if st.toggle("Show a message to a seller that asks for the photos", key="seller_message"):
        lead("Polite, and silent about what was found. Copy it into an e-mail.")
        wanted = requests_of(held.evaluation, held.examined)
        st.code(seller_text(wanted, held.template), language=None, wrap_lines=True)


def screen_scale(held: state.OpenSurvey) -> float:
    """Say at what scale the page shows the whole picture: made in a quarter of the time, as fine as a screen shows.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    float
        Millimetres a pixel; the survey's own where that is coarser.
    """
    return max(_SCREEN_MM_PER_PX, held.survey.settings.picture_mm_per_px)


def whole_picture(held: state.OpenSurvey, suffix: str, mm_per_px: float) -> bytes:
    """Make the whole picture.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    suffix : str
        ``.jpg`` or ``.tif``.
    mm_per_px : float
        Its scale.

    Returns
    -------
    bytes
        With its scale in the metadata. A JPEG is kept until something changes.

    Raises
    ------
    InputError
        If a photo cannot be decoded or the disk is full.
    """
    revision = held.record.revision
    known = held.pictures.get((revision, mm_per_px)) if suffix == ".jpg" else None
    if known is not None:
        return known
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / f"picture{suffix}"
        write_whole_picture(held.evaluation, held.file.photo_bytes, target, mm_per_px)
        made = target.read_bytes()
    if suffix == ".jpg":
        kept = {key: picture for key, picture in held.pictures.items() if key[0] == revision}
        held.pictures = {**kept, (revision, mm_per_px): made}
    return made
