"""The words around the table."""

from __future__ import annotations

__all__ = ["AFTER", "BEFORE"]

BEFORE = """# Truth bench

How far the program's figures lie from a truth that is known. Made by

    {command}

with corromap {version}; do not edit. Everything but the times is the same each time that command is run.

Each survey is drawn from its seed: a body, marks with exact outlines in panel millimetres, 8 to 40 photos with their
cameras, clicks and outlines as a person makes them; see [truth and scene](conventions/truth-and-scene.md). It goes
through `corromap.evaluation.evaluate` like any survey. The truth of a figure is the exact union of the true outlines,
as far as they show in the photos they were drawn on, and as far as the program placed those photos on their panel: it
is what the figure speaks of, not all the damage the car has.

The hand is worse than a click: each outline is moved in or out as a whole by 3 px (one standard deviation), and its
corners are shaken on top of that. Condition `clicked` has corners that err by 2 px as clicks do, and no more.
"""

AFTER = """## How to read it

- **Placing error**: the true edge of a mark, seen without error in its photo, carried to the panel by the program's
  placing. Clicks and lens, not the hand. **Projected outline**: points of the mark as projected against the true
  edge; the hand is in it.
- **Area error**: of the likely area, which is what tables print; where several photos show one thing their edges are
  averaged. *All outlines together* is the union, which limits are held against. The size of the car strays by the
  template's 1 %, which no photo tells: it is 1.3 % of area in the median, and cancels in shares.
- **Held**: share of 95 % intervals with the truth inside. 95 % is what they promise. *Truth above* means that the
  figure was too small.
- **Pull**: error over stated standard uncertainty, without the one in a hundred that lies farthest out; an honest
  interval has mean 0 and rms 1.
- **Coverage error**: the program's seen share minus the true one, over zones that some photo shows or is said to show.
  The truth is counted on points that a camera sees with *every* panel, and the webs of crossmembers and rails, in the
  way.
- **Patch count**: plates that touch are one, except side by side on one photo, as decision 0003 counts them.
- **Outcome as by truth**: against the outcome of exact, square-on pictures of exactly what the placed photos show.
- A zone figure is any of: rust, filler, patch, hidden; the three rust stages; resolved filler and patch; affected.
  Those that are zero in truth and in the program are left out.
"""
