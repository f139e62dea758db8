"""Randomised surveys whose truth is known, run through the public API (developers' tool).

    survey_of_seed -> evaluate (corromap) -> judge -> table

`scene` is a car with true marks, `cameras` the photos somebody takes of it,
`sight` what each photo shows, `hand` the clicks and outlines a person makes,
`truth` the exact areas, `judge` the comparison, `table` the Markdown page.
`render` and `texture` make pixels of the same scene. Frames, units and the
files are described in ``docs/conventions/truth-and-scene.md``.
"""
