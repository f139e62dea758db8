"""A survey file opened and evaluated: the one way for everything that prints or writes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from corromap.assessment import RuleSet
from corromap.evaluation import Evaluation, evaluate
from corromap.io.photo_quality import examined_photos, quality_maps
from corromap.io.survey_file import SurveyFile

__all__ = ["evaluated"]


def evaluated(
    path: Path, author: str, progress: Callable[[int, int], None] = lambda _done, _total: None
) -> tuple[SurveyFile, Evaluation]:
    """Open a survey file and evaluate it, photos examined.

    Parameters
    ----------
    path : Path
        The survey file.
    author : str
        Under whom changes would be logged.
    progress : callable
        Called with photos examined and photos to be examined; a photo is
        examined once in a file's life.

    Returns
    -------
    file : SurveyFile
        The file.
    evaluation : Evaluation
        Of what is stored.

    Raises
    ------
    SurveyFileError
        If it cannot be opened.
    """
    file = SurveyFile.open(path, author=author)
    record = file.load()
    quality = quality_maps(examined_photos(file, record.survey.photos, progress))
    rules = RuleSet.from_document(record.rules_document)
    return file, evaluate(record.survey, record.template, rules, quality)
