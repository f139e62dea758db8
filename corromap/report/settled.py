"""What a person said about places on which photos disagree, in words."""

from __future__ import annotations

from corromap.by_hand import SettledView, Settlement
from corromap.evidence.settling import settled_views
from corromap.frames import MarkId, PhotoId
from corromap.messages import to_say
from corromap.report.language import tr
from corromap.survey import Survey

__all__ = ["answer_words", "latest_answer", "settled_words"]

_OF_PAIR = {
    SettledView.THERE: to_say("Settled: it is there."),
    SettledView.NOT_THERE: to_say("Settled: it is not there."),
    SettledView.CANNOT_TELL: to_say("Settled: it cannot be told."),
}
_OF_MARK = {
    SettledView.THERE: to_say("Looked at again: it is there."),
    SettledView.NOT_THERE: to_say("Withdrawn: settled as not there. It counts in no figure."),
    SettledView.CANNOT_TELL: to_say(
        "In doubt: it could not be told. It counts, and the intervals reach down to what is left without it."
    ),
}


def latest_answer(survey: Survey, mark: MarkId, photo: PhotoId) -> Settlement | None:
    """Find what was said last about a mark and a photo that does not carry it.

    Parameters
    ----------
    survey : Survey
        The survey.
    mark : MarkId
        The mark.
    photo : PhotoId
        The other photo.

    Returns
    -------
    Settlement or None
        None while nobody has said anything.
    """
    about = [s for s in survey.settlements if s.mark == mark and s.photo == photo]
    return about[-1] if about else None


def answer_words(survey: Survey, mark: MarkId, photo: PhotoId) -> str:
    """Say how one disagreement was settled, by whom and when.

    Parameters
    ----------
    survey : Survey
        The survey.
    mark : MarkId
        The mark.
    photo : PhotoId
        The other photo.

    Returns
    -------
    str
        Empty while it is open.
    """
    answer = latest_answer(survey, mark, photo)
    if answer is None:
        return ""
    who = ", ".join(part for part in (answer.author, answer.at[:10]) if part)
    return " ".join(part for part in (tr(_OF_PAIR[answer.view]), f"({who})" if who else "", answer.note) if part)


def settled_words(survey: Survey, mark: MarkId) -> str:
    """Say what that means for a mark.

    Parameters
    ----------
    survey : Survey
        The survey.
    mark : MarkId
        The mark.

    Returns
    -------
    str
        Empty for a mark that was not looked at again.
    """
    view = settled_views(survey).get(mark)
    return tr(_OF_MARK[view]) if view is not None else ""
