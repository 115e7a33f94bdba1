"""The demonstration: an invented portfolio, put into an empty database and assessed.

Everything in ``records`` is invented: town, houses, people, walls and readings. The files are written by a
simulation of walls that stands beside the tests, and are loaded as anybody's records are.
"""

from inspections.demo.setting_up import NAME, PASSPHRASE, PEOPLE, SLUG, DemoRefused, refuse_others, set_up

__all__ = ["NAME", "PASSPHRASE", "PEOPLE", "SLUG", "DemoRefused", "refuse_others", "set_up"]
