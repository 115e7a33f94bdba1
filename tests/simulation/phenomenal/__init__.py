"""Invented walls from a latent-state model: no physics, only stylised curves, wide ranges and nuisances.

The other simulator solves a moisture balance. This one walks each section through a semi-Markov chain of
regimes, draws a mean path for each observed quantity from the regime, and covers it with heavy-tailed noise,
meters that drift, inspectors who differ, and walls that look ill but aren't. All numbers are the author's
own choices, wide on purpose, and stand for no measured wall; houses, towns and people are invented.

What the truth means here, at the end of a day, first match wins:

``trapped_water``
    the held wetness behind the coat (``store``, 0 to 1) is at least :data:`~.truth.HELD_LIMIT`, and a dense
    coat without a way out for the water is on the room face that day, whatever brought the water there,
    and less than :data:`~.truth.GONE` of it has fallen.
``water_entry``
    the wetness of the face fed by a leak is at least :data:`~.truth.ENTRY_LIMIT`.
``drying_out``
    the water of new work, or what a stripped, mended or flooded wall holds above its usual level, is at least
    :data:`~.truth.DRYING_LIMIT` and falling.
``condensation``
    in the year that ends that day the dew-point margin was under zero for at least
    :data:`~.truth.CONDENSATION_DAYS` days (in steps of the grid).
``surface_wear``
    a spell of wear is on and has taken at least :data:`~.truth.WEAR_LIMIT` of the area since it began.
``stable``
    none of these.
"""

from tests.simulation.phenomenal.simulate import simulate

__all__ = ["simulate"]
