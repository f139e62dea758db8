"""The exceptions of corromap.

Expected outcomes (a photo that cannot be placed, a zone nobody has shown) are
values, not exceptions. An exception means wrong use or wrong input, and its
text says which thing, what was expected, what was found and what to do::

    CorromapError
      InvalidValueError (also ValueError)   an invariant is broken
      FrameMismatchError (also ValueError)  two panels mixed, or px with mm
      HorizonError                          a point has no place on the panel
      InputError                            the person can mend it
        PhotoError                          a picture file
        TemplateError                       a body template; lists every fault
        RuleSetError                        a rule file
        RatesError                          rates of the repair plan; knows the place
        InterchangeError                    a survey document
        SurveyFileError                     a survey file
          NewerSchemaError                  written by a later version
          StaleSurveyError                  another window changed it first
        OutputError                         nothing could be written

Only ``corromap.ui`` and ``corromap.cli`` catch `CorromapError`.
"""

from __future__ import annotations

__all__ = [
    "CorromapError",
    "FrameMismatchError",
    "HorizonError",
    "InputError",
    "InterchangeError",
    "InvalidValueError",
    "NewerSchemaError",
    "OutputError",
    "PhotoError",
    "RatesError",
    "RuleSetError",
    "StaleSurveyError",
    "SurveyFileError",
    "TemplateError",
]


class CorromapError(Exception):
    """Root of every error the project raises on purpose."""


class InvalidValueError(CorromapError, ValueError):
    """A value breaks the invariant of the type it was given to."""


class FrameMismatchError(CorromapError, ValueError):
    """Values of two panels, or pixels and millimetres, were mixed."""


class HorizonError(CorromapError):
    """A point of the photo has no place on the panel's plane."""


class InputError(CorromapError):
    """Something the person gave cannot be used, and can be mended."""


class PhotoError(InputError):
    """A picture file cannot be read, or must not be."""


class TemplateError(InputError):
    """A body template is not usable.

    Parameters
    ----------
    message : str
        One sentence.
    faults : tuple of str
        Every fault found, each starting with the path to it, for example
        ``panels[3].zones[1].outline: overlaps zone 'floor-left-front'``.
    """

    def __init__(self, message: str, faults: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.faults = faults


class RuleSetError(InputError):
    """A rule set is not usable."""


class RatesError(InputError):
    """Rates of the repair plan are not usable.

    Parameters
    ----------
    message : str
        One sentence.
    path : tuple of str or int
        Place in the document, for example ``("rate", "labour", "unit")``;
        numbers of list entries count from 1.
    """

    def __init__(self, message: str, path: tuple[str | int, ...] = ()) -> None:
        super().__init__(message)
        self.path = path


class InterchangeError(InputError):
    """A survey document (JSON) is not usable."""


class SurveyFileError(InputError):
    """A survey file cannot be opened or written."""


class NewerSchemaError(SurveyFileError):
    """The survey file was written by a later version of corromap."""


class StaleSurveyError(SurveyFileError):
    """The survey changed in another window since it was read here."""


class OutputError(InputError):
    """A file could not be written; what stood there before is untouched."""
