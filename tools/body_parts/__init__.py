"""Parts of invented, generic unitary bodies, drawn from a table of dimensions."""
