"""Photo to photo: a photo without sightings placed by one that has them.

Nothing here changes a survey: what it yields are proposals with their
residuals, for a person to accept or refuse. Pixels are handed in; no file is
read.
"""

from corromap.registration.links.chain import Chained, ChainProposal, NotLinked, chain_photos
from corromap.registration.links.cycles import broken_links, closing_error_px
from corromap.registration.links.features import Features, find_features
from corromap.registration.links.pair import LinkFailure, PhotoLink, link_photos
from corromap.registration.links.propose import LinkProposal, propose

__all__ = [
    "ChainProposal",
    "Chained",
    "Features",
    "LinkFailure",
    "LinkProposal",
    "NotLinked",
    "PhotoLink",
    "broken_links",
    "chain_photos",
    "closing_error_px",
    "find_features",
    "link_photos",
    "propose",
]
