"""All photos of a survey adjusted together: sightings hold them, accepted ties link them.

`solve_network` finds the cameras, `linked_panels` places panels by them; `linked_at_once` takes in a click before all
photos are adjusted again.
"""

from corromap.registration.network.at_once import linked_at_once
from corromap.registration.network.entry import Network, solve_network
from corromap.registration.network.linked import LinkedCamera
from corromap.registration.network.panels import linked_panels

__all__ = ["LinkedCamera", "Network", "linked_at_once", "linked_panels", "solve_network"]
