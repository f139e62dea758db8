"""Round trips over three photos: a wrong link does not close."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from corromap.frames import FloatArray, PhotoId
from corromap.registration.homography import apply
from corromap.registration.links.pair import PhotoLink

__all__ = ["broken_links", "closing_error_px"]

CLOSES_SIGMAS = 8.0
"""A round trip of three links closes within so many match errors of the worst; ours, wide
enough for a panel that is not quite flat."""

LEAST_CLOSES_PX = 6.0


def closing_error_px(first: PhotoLink, second: PhotoLink, third: PhotoLink) -> float:
    """Go round three photos and measure how far from the start one comes back.

    Parameters
    ----------
    first, second, third : PhotoLink
        Links of three photos with one another, in any direction.

    Returns
    -------
    float
        Median over the matches of the first, pixels of its known photo (lens
        taken out of the maps, matches as they are); infinite when a way round
        does not exist or leads beyond the horizon.
    """
    start, middle = first.known, first.new
    links = {frozenset((x.known, x.new)): x for x in (first, second, third)}
    others = {x for link in links for x in link} - {start, middle}
    if len(links) != 3 or len(others) != 1:
        return float("inf")
    (last,) = others
    xy = first.known_px
    for here, there in ((start, middle), (middle, last), (last, start)):
        link = links.get(frozenset((here, there)))
        if link is None:
            return float("inf")
        xy, w = apply(_oriented(link, here), xy)
        if (w <= 0).any():
            return float("inf")
    return float(np.median(np.hypot(*(xy - first.known_px).T)))


def _oriented(link: PhotoLink, start: PhotoId) -> FloatArray:
    matrix = link.matrix if link.known == start else np.asarray(np.linalg.inv(link.matrix), dtype=np.float64)
    xy = link.known_px if link.known == start else link.new_px
    w = xy @ matrix[2, :2] + matrix[2, 2]
    return np.asarray(matrix * np.sign(np.median(w)))


def broken_links(links: Sequence[PhotoLink]) -> tuple[PhotoLink, ...]:
    """Find links that more round trips speak against than for.

    Parameters
    ----------
    links : sequence of PhotoLink
        Links of one panel.

    Returns
    -------
    tuple of PhotoLink
        Worst first. Links on no round trip are not judged; of a single trip that
        does not close every link is doubtful, and all three are returned.
    """
    against = {id(link): [0, 0] for link in links}
    for three in combinations(links, 3):
        error = closing_error_px(*three)
        if len({p for link in three for p in (link.known, link.new)}) != 3 or len(
            {frozenset((x.known, x.new)) for x in three}
        ) != 3:  # fmt: skip
            continue
        limit = max(LEAST_CLOSES_PX, CLOSES_SIGMAS * max(link.sigma_px for link in three))
        for link in three:
            against[id(link)][int(error <= limit)] += 1
    broken = [link for link in links if against[id(link)][0] > against[id(link)][1]]
    return tuple(sorted(broken, key=lambda link: against[id(link)][1] - against[id(link)][0]))
