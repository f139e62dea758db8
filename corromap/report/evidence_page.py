"""What the photos can carry and what to ask for, as the page prints it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields

from corromap.evaluation import Evaluation, smallest_seen
from corromap.evidence.duplicates import find_duplicates
from corromap.evidence.requests import RequestList, standard_shots, what_to_ask_for
from corromap.evidence.seen_well import Showing
from corromap.evidence.wording import GROUND_RULES, RequestWords, request_words, seller_text
from corromap.frames import PhotoId
from corromap.io.photo_quality import ExaminedPhoto, examine_photo, examined_before, quality_maps
from corromap.report.language import tr
from corromap.report.viewpoint_drawing import viewpoint_svg, viewpoint_words
from corromap.template import BodyTemplate

__all__ = ["AskView", "RequestRow", "ask_view", "examine_all", "judged_photos", "requests_of", "showing_of"]


@dataclass(frozen=True, slots=True)
class RequestRow:
    """One photo to take, as printed.

    Parameters
    ----------
    number : int
        From 1.
    words : RequestWords
        What, where, which way.
    svg, alt : str
        Drawing of the viewpoint, and what it is.
    """

    number: int
    words: RequestWords
    svg: str
    alt: str


@dataclass(frozen=True, slots=True)
class AskView:
    """What to ask for, as printed.

    Parameters
    ----------
    rows : tuple of RequestRow
        In order of use.
    closed : str
        Share of the gaps that these photos close.
    hidden, out_of_reach : tuple of str
        Zones to be laid bare; zones no camera sees from outside.
    rules : tuple of str
        Cautions for whoever takes the photos.
    letter : str
        The same for a seller.
    """

    rows: tuple[RequestRow, ...]
    closed: str
    hidden: tuple[str, ...]
    out_of_reach: tuple[str, ...]
    rules: tuple[str, ...]
    letter: str


def examine_all(evaluation: Evaluation, photo_bytes: Callable[[PhotoId], bytes]) -> dict[PhotoId, ExaminedPhoto]:
    """Examine every photo of a survey.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    photo_bytes : callable
        The original bytes of a photo.

    Returns
    -------
    dict of PhotoId to ExaminedPhoto
        In the survey's order.

    Raises
    ------
    PhotoError
        If a photo's bytes cannot be decoded.
    """
    return {
        photo.id: examined_before(photo) or examine_photo(photo_bytes(photo.id), photo.name)
        for photo in evaluation.survey.photos
    }


def judged_photos(evaluation: Evaluation, examined: Mapping[PhotoId, ExaminedPhoto]) -> dict[PhotoId, tuple[str, ...]]:
    """Say of each photo how well it can be judged.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    examined : mapping of PhotoId to ExaminedPhoto
        From `examine_all`.

    Returns
    -------
    dict of PhotoId to tuple of str
        Sentences; empty when nothing stands out.
    """
    names = {photo.id: photo.name for photo in evaluation.survey.photos}
    looks = {key: one.look for key, one in examined.items() if one.look is not None}
    told = {key: list(map(tr, one.sentences)) for key, one in examined.items()}
    for copy in find_duplicates({key: one.sha256 for key, one in examined.items()}, looks):
        name = names[copy.earlier]
        same = tr("The same file as '{name}': it adds nothing.", name=name)
        alike = tr("Nearly the same picture as '{name}': it adds nothing.", name=name)
        told[copy.photo].append(same if copy.is_exact else alike)
    return {key: tuple(lines) for key, lines in told.items()}


def requests_of(evaluation: Evaluation, examined: Mapping[PhotoId, ExaminedPhoto]) -> RequestList:
    """Work out what to ask for.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    examined : mapping of PhotoId to ExaminedPhoto
        From `examine_all`; asked only when the evaluation knows no quality.

    Returns
    -------
    RequestList
        The standard list when there is no photo at all.
    """
    if not evaluation.survey.photos:
        return standard_shots(evaluation.template)
    smallest = smallest_seen(evaluation.survey.settings)
    return what_to_ask_for(evaluation.template, showing_of(evaluation, examined), smallest)


def showing_of(evaluation: Evaluation, examined: Mapping[PhotoId, ExaminedPhoto]) -> Showing:
    """Put together what the photos show and how well they can be judged.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    examined : mapping of PhotoId to ExaminedPhoto
        From `examine_all`.

    Returns
    -------
    Showing
        For the functions of `corromap.evidence`.
    """
    return Showing(evaluation.projection, evaluation.registrations, evaluation.quality or quality_maps(examined))


def ask_view(wanted: RequestList, template: BodyTemplate) -> AskView:
    """Lay out what to ask for.

    Parameters
    ----------
    wanted : RequestList
        From `requests_of` or `standard_shots`.
    template : BodyTemplate
        The body.

    Returns
    -------
    AskView
        Words and drawings.
    """
    zones = template.zone_by_id
    return AskView(
        rows=tuple(
            RequestRow(r.number, _said(request_words(r, template)), viewpoint_svg(r, template), viewpoint_words(r))
            for r in wanted.requests
        ),
        closed=f"{100 * wanted.closed_mm2 / wanted.gap_mm2:.0f} %" if wanted.gap_mm2 else "",
        hidden=tuple(
            tr("{zone} ({share} % covered)", zone=tr(zones[h.zone].name), share=f"{100 * h.share:.0f}")
            for h in wanted.hidden
        ),
        out_of_reach=tuple(tr(zones[zone].name) for zone in wanted.out_of_reach),
        rules=tuple(map(tr, GROUND_RULES)),
        letter=tr(seller_text(wanted, template)),
    )


def _said(words: RequestWords) -> RequestWords:
    return RequestWords(**{field.name: tr(getattr(words, field.name)) for field in fields(words)})
