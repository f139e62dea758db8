"""Evidence: how much the photos can carry, and what to ask for.

Pixels come in as arrays; nothing here opens a file. ``quality`` and
``duplicates`` look at one photo; ``detail`` carries that to the panels;
``requests`` turns what is missing into photos to take; ``disagreement`` finds
places that two photos tell differently; ``whole_picture`` puts all photos
together to scale.
"""
