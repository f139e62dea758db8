"""What other programs read: map layers, tables, annotations, marked photos, and the sealed record."""
