"""Save then load is the same survey, to the last bit, in every form it is kept in."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from corromap.io.foreign import open_foreign
from corromap.io.interchange import export_folder, import_folder, write_folder
from corromap.io.json_text import canonical, parse
from corromap.io.survey_bundle import SurveyBundle, write_bundle
from corromap.io.survey_file import SurveyFile
from corromap.io.survey_record import SurveyHead, SurveyRecord
from corromap.survey import Survey
from tests.store_scene import TEMPLATE, as_plain, rules_document, surveys


def bundle(survey: Survey, data: dict[str, bytes]) -> SurveyBundle:
    record = SurveyRecord(survey, dict(TEMPLATE), rules_document(), 0)
    return SurveyBundle(record, SurveyHead(survey.id, "2026-01-01T00:00:00Z"), (), (), data.__getitem__)


@given(surveys())
@settings(max_examples=40, deadline=None)
def test_file_to_file_and_folder_and_back_is_identical(drawn: tuple[Survey, dict[str, bytes]]) -> None:
    survey, data = drawn
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_bundle(folder / "a.corromap", bundle(survey, data), "me", "made")
        stored = SurveyFile.open(folder / "a.corromap")
        assert as_plain(stored.load().survey) == as_plain(survey)
        export_folder(stored.path, folder / "out")
        brought_in = import_folder(folder / "out", folder / "b", author="me")
        copied = open_foreign(stored.path, folder / "c", author="me")
        clean = SurveyFile.open(stored.save_copy(folder / "d", history=False))
        for file in (brought_in, copied, clean):
            record = file.load()
            assert as_plain(record.survey) == as_plain(survey)
            assert record.template_document == TEMPLATE
            assert record.rules_document == rules_document()
            assert [file.photo_bytes(p.id) for p in survey.photos] == [data[p.sha256] for p in survey.photos]
            assert file.check() == ()
        assert brought_in.history() == copied.history() == stored.history()
        export_folder(brought_in.path, folder / "again")
        assert (folder / "out/survey.json").read_bytes() == (folder / "again/survey.json").read_bytes()


@given(surveys())
@settings(max_examples=15, deadline=None)
def test_folder_without_a_log_is_identical_too(drawn: tuple[Survey, dict[str, bytes]]) -> None:
    survey, data = drawn
    with tempfile.TemporaryDirectory() as name:
        write_folder(bundle(survey, data), Path(name) / "out")
        assert as_plain(import_folder(Path(name) / "out", Path(name) / "b").load().survey) == as_plain(survey)


values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=20,
)  # fmt: skip


@given(values)
def test_json_text_reads_back_to_the_same_bits(value: object) -> None:
    text = canonical(value)
    assert repr(parse(text)) == repr(json.loads(text))
    assert canonical(parse(text)) == text
