"""The survey a window shows: the file, the record as last read, and what follows from it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from corromap.evaluation import DraftEvaluation, Evaluation, KeptPhotos, Registrations, StagedEvaluation
from corromap.frames import PhotoId
from corromap.io.photo_quality import ExaminedPhoto, examined_photos, quality_maps
from corromap.io.survey_file import SurveyFile, SurveyRecord
from corromap.projection import ProjectedMark, Projection
from corromap.registration.body_size import fitted_template
from corromap.survey import Survey
from corromap.template import BodyTemplate
from corromap.ui.canvas_view import Footprint

__all__ = ["OpenSurvey"]


@dataclass
class OpenSurvey:
    """The survey this window shows.

    Parameters
    ----------
    key : str
        In the address.
    file : SurveyFile
        The file on the disk.
    record : SurveyRecord
        As last read.
    token : str
        Lets this window fetch the photos.
    kept : KeptPhotos
        What can be used again after a change.
    pictures : dict of (int, float) to bytes
        The whole picture as made last, by revision and millimetres a pixel.
    footprint : tuple of objects and Footprint, optional
        The one drawn last, after what it was made from.
    """

    key: str
    file: SurveyFile
    record: SurveyRecord
    token: str
    kept: KeptPhotos = field(default_factory=KeptPhotos)
    pictures: dict[tuple[int, float], bytes] = field(default_factory=dict)
    footprint: tuple[tuple[object, ...], Footprint] | None = None
    _staged: StagedEvaluation | DraftEvaluation | None = None
    _examined: dict[PhotoId, ExaminedPhoto] | None = None
    _undo: tuple[str | None, str | None] = (None, None)
    _saved: str = ""
    _read_for: int = -1

    @property
    def survey(self) -> Survey:
        """What is recorded."""
        return self.record.survey

    @property
    def template(self) -> BodyTemplate:
        """The survey's body template, stretched to the lengths taken on the car."""
        return fitted_template(self.record.template, self.survey.lengths)

    @property
    def registrations(self) -> Registrations:
        """Where each photo sits: the first stage of the evaluation."""
        return self._stages().registrations

    @property
    def projection(self) -> Projection:
        """Marks on the panels, and what was seen: the second stage."""
        return self._stages().projection

    @property
    def marks_on_map(self) -> tuple[ProjectedMark, ...]:
        """Marks of all photos on the panels: enough to draw the canvas, before the second stage is done."""
        return self._stages().marks_on_map

    @property
    def evaluation(self) -> Evaluation:
        """Everything that follows from the record; computed once a revision."""
        return self._stages().evaluation

    @property
    def examined(self) -> dict[PhotoId, ExaminedPhoto]:
        """How well each photo can be judged; those the file knows nothing of are examined now."""
        if self._examined is None:
            self._examined = examined_photos(self.file, self.survey.photos)
        return self._examined

    def draft(self, photo: PhotoId) -> OpenSurvey | None:
        """Give the survey as it can be drawn at once after a click on a linked photo.

        Parameters
        ----------
        photo : PhotoId
            The photo on the screen.

        Returns
        -------
        OpenSurvey or None
            For drawing that photo's page while the linked photos are adjusted; it has no `evaluation`. None when
            nothing has to be waited for.
        """
        stages = self._stages()
        found = stages.draft(photo) if isinstance(stages, StagedEvaluation) else None
        return None if found is None else replace(self, _staged=found)

    def _stages(self) -> StagedEvaluation | DraftEvaluation:
        if self._staged is None:
            quality = quality_maps(self.examined)
            self._staged = StagedEvaluation(self.survey, self.template, self.record.rules, self.kept, quality)
        return self._staged

    @property
    def next_undo(self) -> str | None:
        """What undo would take back, in words."""
        self._read_log()
        return self._undo[0]

    @property
    def next_redo(self) -> str | None:
        """What redo would bring back, in words."""
        self._read_log()
        return self._undo[1]

    @property
    def saved_at(self) -> str:
        """Local time of the last change, ISO 8601 with seconds."""
        self._read_log()
        return self._saved

    def refresh(self) -> bool:
        """Read the file again if it has changed.

        Returns
        -------
        bool
            Whether it had.
        """
        if self.file.revision == self.record.revision:
            return False
        self.record = self.file.load()
        self._staged = self._examined = None
        return True

    def _read_log(self) -> None:
        if self._read_for == self.record.revision:
            return
        self._undo = (self.file.next_undo(), self.file.next_redo())
        latest = self.file.history(1)
        self._saved = datetime.fromisoformat(latest[0].at).astimezone().isoformat(timespec="seconds") if latest else ""
        self._read_for = self.record.revision
