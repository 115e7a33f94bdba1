"""Record books that judge a verdict, from walls of a structure of their own; never for calibration.

A wall is two zones of water in monthly steps: an outer zone that the ground and leaks wet, and the zone
behind the coat, with a capillary threshold above which it is joined to the outer one and below which a drying
front draws back from the coat. A coat is a grid of cells that come loose and fall by chance, in patches.
Houses are bought in any state, visited by habit, and read with bent, biased and replaced meters.

**The truth** of a section on a date looks at the months up to it; the first line that holds is the truth:

``trapped_water``
    the coats together resist vapour like ``CLOSED_SD`` (0.45) metres of air or more and have no way out
    below, the zone behind them was never less than ``HELD`` (0.5) full in the last twelve months, and the
    next line does not hold;
``water_entry``
    in each of the last three months ``SHOWS`` (4) g/m² a day or more of liquid water came to the face;
``drying_out``
    within three years of new wet work, a flood or the end of a leak, where the wall and the coat have lost
    ``GIVEN_OFF`` (0.4) kg/m² of water or more in the last twelve months;
``condensation``
    the room's vapour pressure lay ``DEW`` (40 Pa) or more over the face's saturation pressure in the means of
    at least two of the last twelve months;
``surface_wear``
    ``WORN`` (2 %) of the coat or more came loose in the last three years;
``stable``
    none of these.

``store`` is the water behind the coat as a share of what that zone holds, ``hollow_fraction`` the share of
cells that are loose and hang, ``lost_fraction`` the share that has fallen from the present coat, patched
places counted in, and ``onset`` the first day of the unbroken run of months with the present truth, from the
purchase on. Truth is told on three to five days of a section in the later two thirds of its house's record.

All numbers are the writer's own, from memory of the trade's ranges; people, houses and places are invented.
"""

from tests.simulation.holdout.pages import simulate

__all__ = ["simulate"]
