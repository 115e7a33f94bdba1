"""From readings to a verdict: pure computation on numpy arrays and small dataclasses.

Nothing here imports Django or touches a database, clock, file or network.
"""
