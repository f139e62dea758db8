"""All photos of a survey adjusted together: sightings hold them, accepted ties link them.

`solve_network` finds the cameras, `linked_panels` places panels by them.
"""

from corromap.registration.network.entry import Network, solve_network
from corromap.registration.network.panels import LinkedCamera, linked_panels

__all__ = ["LinkedCamera", "Network", "linked_panels", "solve_network"]
