"""What one window knows: which survey is open, on which page, and what is to be said.

The survey file is the truth. A window keeps a copy of it (`OpenSurvey.record`)
and the evaluation of that copy, both thrown away as soon as the file's revision
moves on. The address carries the survey's key, the page and the photo, so a
reload comes back to the same place.
"""

from __future__ import annotations

import getpass
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from corromap.errors import CorromapError, InputError, StaleSurveyError
from corromap.frames import MarkId, PhotoId
from corromap.io.survey_file import SurveyFile
from corromap.survey import Photo, Survey
from corromap.ui.open_survey import OpenSurvey
from corromap.ui.photo_routes import grant_photos, is_granted, revoke_photos
from corromap.ui.steps import Page
from corromap.ui.surveys import key_of, known_surveys

__all__ = [
    "Action",
    "Notice",
    "OpenSurvey",
    "Pending",
    "author",
    "change",
    "chosen_mark",
    "chosen_photo",
    "close_survey",
    "current_page",
    "drop_pending",
    "go_to",
    "go_to_mark",
    "open_current",
    "open_survey",
    "pending",
    "redo",
    "retry_pending",
    "say",
    "take_notices",
    "undo",
]

Action = Callable[[SurveyFile], object]
"""Changes a survey file; passes ``expected_revision=file.known_revision``."""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to be said once, at the top of the page.

    Parameters
    ----------
    text : str
        One or two sentences.
    tone : str
        ``bad``, ``warn``, ``good`` or empty.
    """

    text: str
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Pending:
    """A change that was not made because another window was first.

    Parameters
    ----------
    key : str
        Of the survey it belongs to.
    label : str
        What it was, in words.
    action : callable
        Makes it.
    """

    key: str
    label: str
    action: Action


def author() -> str:
    """Name under which this computer's changes are logged.

    Returns
    -------
    str
        The account's name; empty when the system does not tell.
    """
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no account of that number, as in some containers
        return ""


def say(text: str, tone: str = "") -> None:
    """Have something said at the top of the next page drawn.

    Parameters
    ----------
    text : str
        One or two sentences.
    tone : str
        ``bad``, ``warn``, ``good`` or empty.
    """
    st.session_state.setdefault("notices", []).append(Notice(text, tone))


def take_notices() -> list[Notice]:
    """Return what is to be said, and forget it.

    Returns
    -------
    list of Notice
        In order.
    """
    found: list[Notice] = st.session_state.pop("notices", [])
    return found


def current_page() -> Page:
    """Page in the address.

    Returns
    -------
    Page
        The first one when the address names none or an unknown one.
    """
    named = st.query_params.get("page", "")
    return Page(named) if named in set(Page) else Page.CAR


def go_to(page: Page, photo: PhotoId | None = None) -> None:
    """Put another page, and maybe a photo, into the address.

    Parameters
    ----------
    page : Page
        Where to.
    photo : PhotoId, optional
        The photo to choose there.
    """
    st.query_params["page"] = page.value
    st.query_params.pop("mark", None)
    if photo is not None:
        st.query_params["photo"] = str(photo)


def go_to_mark(photo: PhotoId, mark: MarkId) -> None:
    """Put a mark on its photo into the address: the page opens with it chosen.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    mark : MarkId
        The mark.
    """
    go_to(Page.MARK, photo)
    st.query_params["mark"] = str(mark)


def chosen_mark(survey: Survey) -> MarkId | None:
    """Mark in the address.

    Parameters
    ----------
    survey : Survey
        The survey.

    Returns
    -------
    MarkId or None
        None when the address names none, or one that is not there.
    """
    named = MarkId(st.query_params.get("mark", ""))
    return named if named in survey.mark_by_id else None


def chosen_photo(survey: Survey) -> Photo | None:
    """Photo in the address, or the first one.

    Parameters
    ----------
    survey : Survey
        The survey.

    Returns
    -------
    Photo or None
        None when there are no photos.
    """
    named = st.query_params.get("photo", "")
    found = survey.photo_by_id.get(PhotoId(named))
    return found or (survey.photos[0] if survey.photos else None)


def open_survey(path: Path, page: Page = Page.CAR) -> None:
    """Show a survey in this window.

    Parameters
    ----------
    path : Path
        A file that `known_surveys` lists.
    page : Page
        Where to start.
    """
    _let_go()
    st.session_state.pop("pending", None)
    st.query_params.from_dict({"survey": key_of(path), "page": page.value})


def close_survey() -> None:
    """Go back to the list of surveys."""
    _let_go()
    st.session_state.pop("pending", None)
    st.query_params.from_dict({"page": "surveys"})


def _let_go() -> None:
    held = st.session_state.pop("open", None)
    if isinstance(held, OpenSurvey):
        revoke_photos(held.token)


def open_current() -> OpenSurvey | None:
    """Open the survey in the address, or return it as it is by now.

    Returns
    -------
    OpenSurvey or None
        None for the list of surveys.

    Raises
    ------
    InputError
        If the address names a survey that is not there (any more), or its
        file cannot be read.
    """
    key = st.query_params.get("survey", "")
    if not key:
        return None
    held: OpenSurvey | None = st.session_state.get("open")
    if held is None or held.key != key:
        _let_go()
        path = known_surveys().get(key)
        if path is None:
            raise InputError(
                f"the survey '{key}' in the address is not in the folder (any more): choose one from the list"
            )
        file = SurveyFile.open(path, author=author())
        held = OpenSurvey(key, file, file.load(), grant_photos(file.photo_bytes))
        with st.spinner("Looking at the photos"):  # once in a file's life
            _ = held.examined
        st.session_state["open"] = held
    elif held.refresh() and st.session_state.pop("own_change", None) is None:
        say("Another window changed this survey; it is shown as it is now.")
    st.session_state.pop("own_change", None)
    if not is_granted(held.token):
        held.token = grant_photos(held.file.photo_bytes)
    return held


def change(held: OpenSurvey, label: str, action: Action, *, can_wait: bool = True) -> bool:
    """Change the survey file, and tell the person when that was not possible.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    label : str
        What is to be done, in words, for messages.
    action : callable
        Does it.
    can_wait : bool
        Whether it still means the same after another window's change, so that
        it may be made later.

    Returns
    -------
    bool
        Whether it was done. When another window was first, nothing is written
        and the change waits in `pending`.
    """
    try:
        action(held.file)
    except StaleSurveyError:
        if can_wait:
            st.session_state.setdefault("pending", []).append(Pending(held.key, label, action))
        else:
            say(f"Not done ({label}): another window changed the survey first. It is shown as it is now.", "warn")
        st.session_state["own_change"] = True
        return False
    except CorromapError as error:
        say(f"Not done ({label}): {error}", "bad")
        return False
    st.session_state["own_change"] = True
    return True


def pending(held: OpenSurvey) -> tuple[Pending, ...]:
    """Return the changes that wait because another window was first.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    tuple of Pending
        In the order they were made; empty when nothing waits.
    """
    return tuple(one for one in st.session_state.get("pending", ()) if one.key == held.key)


def retry_pending() -> None:
    """Make the waiting changes on top of what the other window did."""
    held, waiting = st.session_state.get("open"), st.session_state.pop("pending", [])
    if not isinstance(held, OpenSurvey):
        return
    for one in waiting:
        change(held, one.label, one.action)


def drop_pending() -> None:
    """Forget the waiting changes."""
    st.session_state.pop("pending", None)


def undo() -> None:
    """Take back the last change of the open survey."""
    _step_in_log("undo", lambda file: file.undo(expected_revision=file.known_revision))


def redo() -> None:
    """Bring back what was taken back last."""
    _step_in_log("redo", lambda file: file.redo(expected_revision=file.known_revision))


def _step_in_log(word: str, action: Action) -> None:
    held = st.session_state.get("open")
    if isinstance(held, OpenSurvey):
        # made later, it would take back something else than the person saw
        change(held, word, action, can_wait=False)
