"""Record books from walls reckoned as columns: water by height and depth in weekly steps, coats cell by cell.

A wall is a column of eight cells by height and three in depth (behind the coat, the middle, the outer
side). Water moves down the gradient of the cube of a cell's fullness, so that wet stone conducts and dry
stone hardly does; it rises from the footing, comes from the soil by depth below grade, splashes near grade,
and leaks at a patch. It leaves as vapour through the stack of coats, a drying skin and the air's film, and
as liquid through coats that suck. Houses have a climate, a cellar that is heated or not, and now and then a
dehumidifier. Salts stay where water left. A coat is a grid of 96 cells whose bond wears from soaking,
salts, frost near grade, stiffness, shrinkage and water's push; what is loose hangs for some years, then
falls. Owners renew, paint over, close a wall with something dense (rather a damp wall), strip, patch and
repoint. The ground may get wetter or drier for good, leaks begin and are mended, water may stand in the
cellar. Surveyors come half-yearly or yearly, miss visits and heights, exchange and adjust meters, and slip
by a factor of ten.

**The truth** of a section on a date is told from the state alone; the first line that holds is the truth:

``water_entry``
    liquid reached the face at ``SHOWS`` (12) g/m² a day or more, in the mean of the last quarter, on a fifth
    of the height or more: more comes than the coat keeps in, and it shows;
``trapped_water``
    on a quarter of the wall or more there is a coat without a way out below, the wall behind it was never
    less than ``FULL`` (0.5) full in the last twelve months, and less than ``PASSES`` (0.6) of what the wall
    could have brought to a face kept dry got out in those months;
``drying_out``
    ``FRESH`` (1) kg/m² or more is left of water that came with new work, a flood or a leak, or was uncovered
    when a coat came off, and ``GIVEN`` (0.35) kg/m² or more of it left in the last quarter;
``condensation``
    the room's air left ``DEW`` (30) g/m² a day or more on a quarter of the height in eight weeks or more of
    the last year;
``surface_wear``
    ``WORN`` (4 %) of the coat or more came loose within three years where the wall behind it was not wet
    (under 0.45 full, or in part up to that);
``stable``
    none of these.

``store`` is the fullness behind the coat, ``hollow_fraction`` the share of the coat that is loose and hangs,
``lost_fraction`` the share that has fallen from the present coat, patched places counted in, and ``onset``
when the present truth began, from the record's beginning on; interruptions of up to half a year don't count.
Truth is told on three to five days in the later two thirds of a house's record.

Readings follow the contract: air is read at each section, or in one house of five at the first section alone.
All numbers are the writer's own, from memory of the trade's ranges; people, houses and places are invented.
"""

from tests.simulation.profile.portfolio import simulate

__all__ = ["simulate"]
