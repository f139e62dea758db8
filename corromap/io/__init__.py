"""Everything that touches the disk: photos, templates, rule files, survey files, interchange.

For a survey: `survey_file` (one file, saved as it is made), `foreign` (a
stranger's file), `interchange` (a folder other programs can read). Behind them
`survey_db` knows SQLite, `survey_rows` the tables and undo, `survey_codec` the
documents in them, `survey_bundle` a whole survey on its way, `migrations` the
versions. What comes in is refused with a sentence or taken whole.
"""
