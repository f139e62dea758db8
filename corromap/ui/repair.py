"""The repair plan in the app: worked out once a revision, handed out, its rates changed."""

from __future__ import annotations

import io
import json
import zipfile
from datetime import datetime

import streamlit as st

from corromap.errors import RatesError
from corromap.evaluation import repair_plan
from corromap.exports.plan import drawings_of
from corromap.io.rates import default_rates, rates_from
from corromap.io.survey_file import SurveyFile
from corromap.repair import Rates, RepairPlan
from corromap.report.repair_document import repair_document
from corromap.report.repair_view import RepairView, repair_view
from corromap.report.welder_sheet import welder_pdf
from corromap.ui import state
from corromap.ui.hand_out import HandOut
from corromap.ui.surveys import file_name_for

__all__ = ["OFFER_TITLES", "plan_of", "plan_offers", "rates_of", "save_rate", "save_rates", "view_of"]

_KEPT = "repair_plan"
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)

OFFER_TITLES = {
    "welder": (
        "Download the welder's sheet",
        "A PDF: the plan, a drawing for each zone, and each at true size on pages to join.",
    ),
    "dxf": (
        "Download the drawings as DXF",
        "One file a zone, in millimetres, for a cutting table or a drawing program.",
    ),
    "svg": ("Download the drawings as SVG", "The same as pictures in millimetres."),
    "plan": ("Download the plan as JSON", "Every figure, for other programs."),
}


def rates_of(held: state.OpenSurvey) -> tuple[Rates, str]:
    """Rates of the survey.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    rates : Rates
        Its own, or the usual ones when it has none.
    fault : str
        Why its own cannot be used; empty when they can.
    """
    try:
        return rates_from(held.record.rates_document), ""
    except RatesError as error:
        return default_rates(), f"{error}"


def plan_of(held: state.OpenSurvey) -> RepairPlan:
    """Plan of the survey as it is now.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    RepairPlan
        Worked out once a revision.
    """
    return _both(held)[0]


def view_of(held: state.OpenSurvey) -> RepairView:
    """Plan of the survey as rows of text.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    RepairView
        Worked out once a revision.
    """
    return _both(held)[1]


def _both(held: state.OpenSurvey) -> tuple[RepairPlan, RepairView]:
    basis = (held.key, held.record.revision)
    kept: tuple[tuple[str, int], RepairPlan, RepairView] | None = st.session_state.get(_KEPT)
    if kept is None or kept[0] != basis:
        rates, _ = rates_of(held)
        plan = repair_plan(held.evaluation, rates)
        kept = (basis, plan, repair_view(held.evaluation, plan, rates, default_rates()))
        st.session_state[_KEPT] = kept
    return kept[1], kept[2]


def plan_offers(held: state.OpenSurvey) -> dict[str, HandOut]:
    """Offer what of the plan can be handed out.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.

    Returns
    -------
    dict of str to HandOut
        By the keys of `OFFER_TITLES`.
    """
    name = file_name_for(held.survey.car.label)
    plan, (rates, _) = plan_of(held), rates_of(held)
    evaluation = held.evaluation

    def sheet() -> bytes:
        now = datetime.now().astimezone().isoformat(sep=" ", timespec="minutes")
        return welder_pdf(evaluation, plan, rates, made_at=now)

    def document() -> bytes:
        return json.dumps(repair_document(evaluation, plan, rates), ensure_ascii=False, indent=2).encode()

    def drawings(suffix: str) -> bytes:
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
            for entry, data in drawings_of(evaluation, plan, rates, suffix):
                packed.writestr(zipfile.ZipInfo(entry, _ZIP_TIME), data, zipfile.ZIP_DEFLATED)
        return target.getvalue()

    return {
        "welder": HandOut(f"{name}-welders-sheet.pdf", "application/pdf", sheet),
        "dxf": HandOut(f"{name}-drawings-dxf.zip", "application/zip", lambda: drawings("dxf")),
        "svg": HandOut(f"{name}-drawings-svg.zip", "application/zip", lambda: drawings("svg")),
        "plan": HandOut(f"{name}-repair-plan.json", "application/json", document),
    }


def save_rate(held: state.OpenSurvey, path: tuple[str, ...], key: str) -> None:
    """Store one changed value of the rates.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    path : tuple of str
        Place in the rates document; a digit picks an entry of a list.
    key : str
        Of the widget that holds the new value.
    """
    document = rates_of(held)[0].to_document()
    place: object = document
    for name in path[:-1]:
        place = place[int(name)] if isinstance(place, list) else _table(place)[name]
    _table(place)[path[-1]] = st.session_state[key]
    try:
        rates = Rates.from_document(document)
    except RatesError as error:
        state.say(f"Not changed: {error}.", "bad")
        st.session_state.pop(f"{key}__known", None)  # the field goes back to what the survey says
        return
    save_rates(held, rates)


def _table(place: object) -> dict[str, object]:
    if not isinstance(place, dict):
        raise RatesError("rates: not a table")
    return place


def save_rates(held: state.OpenSurvey, rates: Rates | None) -> None:
    """Store rates with the survey.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    rates : Rates or None
        None goes back to the usual ones.
    """
    document = rates.to_document() if rates is not None and rates != default_rates() else {}

    def save(file: SurveyFile) -> None:
        file.set_rates(document, expected_revision=file.known_revision)

    state.change(held, "rates of the repair plan changed", save)
