"""A forward model of a probe station, its standards and its wafers: a campaign of known truth.

Its physics shares no code with `sitegen.compute`, so that neither can hide the other's fault.
"""

from sitegen.simulate.campaign import simulate_campaign
from sitegen.simulate.demo import demo_campaign
from sitegen.simulate.followed_events import followed_campaign

__all__ = ["demo_campaign", "followed_campaign", "simulate_campaign"]
