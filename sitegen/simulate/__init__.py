"""A forward model of a probe station, its standards and its wafers: a campaign of known truth.

Its physics shares no code with `sitegen.compute`, so that neither can hide the other's fault.
"""





