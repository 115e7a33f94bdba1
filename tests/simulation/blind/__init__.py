"""A third simulator of walls: one bucket of water behind each coat, filled and emptied by the fortnight.

Written from the method's text alone and apart from the other two simulators, so that what was fitted to
those can be judged on books whose make it has not met. Numbers without a source are plausible choices from
memory; ``simulate`` is the only entry point.
"""

from tests.simulation.blind.portfolio import simulate

__all__ = ["simulate"]
