"""Catalogues of the report's languages: collected from the sources, merged, compiled."""
