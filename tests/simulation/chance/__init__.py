"""Record books of walls that live by chance, in continuous time, written from the method's text alone.

Water comes to the back of each wall from a marked point process of storms and thaws through three linear
reservoirs of its house, from ground water that wanders with a season, from leaks that open and are mended,
and from floods (``weather``, ``places``, ``water``). The wetness behind and at the face are two correlated
Ornstein-Uhlenbeck-like processes, drawn by what arrives and by what the coats let through as vapour and as
liquid (``course``). A coat hangs in patches with a gamma frailty, which come loose by a clock that runs with
wetness behind a closed coat, salt, frost, stiffness and the wall's own wear, and fall after a random wait
(``coats``). Owners strip, coat, paint over, patch, point and line by habit, dampness and loss (``works``).
People with habits go round with meters that bend, end, err and are replaced (``meters``, ``rounds``); not all
that happened is written down (``ledger``).

**The truth** of a section on a date is decided by the simulated state alone (``truth``), up to that date; the
first line that holds is the truth:

``water_entry``
    liquid water came to the face at ``SHOWS`` (4) g/m² a day or more in the mean of the last four months,
    through a capillary coat, cracks, or a bare wall;
``trapped_water``
    the wall behind held ``WET`` (0.5) or more of what it can hold in all of the last twelve months but a
    twentieth, and the coats hold it back: they have no way out below, hang on half of the wall or more, and
    what they would pass from a full wall (vapour and liquid, in the mean of twelve months) is less than what
    arrives (in the mean of three years, taken as 3 to 20 g/m² a day: a coat that passes less than 3 won't
    empty a full wall in ten years or more, one that passes over 20 holds nothing back);
``drying_out``
    within three years of new wet work, an uncovering, a flood or the end of a leak, where the wall and its
    coats hold ``GIVEN_OFF`` (1.0) kg/m² of water less than at their wettest since, within the last half year;
``condensation``
    ``DEW_DAYS`` (50) days of the last twelve months lie in steps with dew on the face for half of the day or
    more in their mean;
``surface_wear``
    ``WORN`` (4 %) of the coat or pointing or more came loose in the last three years, with the wall behind
    below ``WET`` in the mean of the last twelve months;
``stable``
    none of these.

``store`` is the water behind as a share of what the wall can hold, ``hollow_fraction`` the share of the
present coat that is loose and hangs, ``lost_fraction`` the share that has fallen, mended places counted in.
``onset`` is the first day of the unbroken run of five-day steps with the present truth, from the beginning of
care on. Truth is told on three to five days of a house in the later two thirds of its record.

All numbers are the writer's own, from memory of the trade's ranges or chosen so that a portfolio has all six
truths in it; people, houses and places are invented.
"""

from tests.simulation.chance.portfolio import simulate

__all__ = ["simulate"]
