"""Registration: where a photo sits on the body."""
