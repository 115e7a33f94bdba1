"""What a landlord hesitates at, in a few plain sentences. Common practice, unless a source is named."""

from __future__ import annotations

from typing import Final

from inspections.vocabulary import Quantity

READING: Final[dict[str, str]] = {
    Quantity.SURFACE_MOISTURE: (
        "Hold the meter flat on the face at the same marks as last time, and wait until the number stands. "
        "It is a number on that meter’s own scale: it is compared with itself on the same wall, never with "
        "another meter."
    ),
    Quantity.DEEP_MOISTURE: (
        "Long probes, or a drilled hole, at the same depth as last time. It is the wall behind the coat "
        "that is asked, not the coat."
    ),
    Quantity.IN_WALL_HUMIDITY: (
        "In a hole that was closed and left to settle for a day or more. Where the display stops at its "
        "highest number, choose > and write that number."
    ),
    Quantity.AIR_HUMIDITY: "In the middle of the room, away from the wall and from your breath.",
    Quantity.AIR_TEMPERATURE: "In the middle of the room, at the same time as the face of the wall.",
    Quantity.SURFACE_TEMPERATURE: "On the face itself, at its coldest place, mostly low down in a corner.",
    Quantity.HOLLOW_AREA: (
        "Tap the whole coat with a small hammer or a knuckle, a hand’s breadth apart. Where it answers with"
        " a dull, drummy note it has let go of the wall but still hangs. Chalk round it, measure length "
        "times height, and add the patches up. Nothing hollow anywhere: write 0."
    ),
    Quantity.SPALL_AREA: (
        "What has fallen off already, by length times height. What still hangs but sounds hollow belongs "
        "above."
    ),
    Quantity.SALT_AREA: (
        "White fur or crust on the face, by length times height. Brush it off after you have measured, and "
        "you see next time what is new."
    ),
    Quantity.CRACK_WIDTH: "At the same mark each time, with the gauge, across the crack.",
    Quantity.MORTAR_SOFT_DEPTH: (
        "Where the coat is off: push a screwdriver or a probe into the marked joints by hand and measure "
        "how far it goes in."
    ),
    Quantity.TIMBER_MOISTURE: "In the end of a joist or a plate, along the grain.",
    Quantity.RADON: "The mean of the days that the monitor stood there, with doors and windows as usual.",
    Quantity.SUMP_STARTS: "Starts of the pump since the last look, over the days between.",
    Quantity.DEHUMIDIFIER_WATER: "Litres emptied since the last look, over the days between.",
}
HEIGHT: Final = (
    "Up from the floor, at marks that stay on the wall: one near the floor, one at the hip, one at the head"
    " shows how high the water climbs. A reading is only compared with others at the same height."
)
QUALIFIER: Final = (
    "> where the meter stopped at the top of its scale: write the number at which it stopped. < where there"
    " is less than you could measure: write the least that you would have seen. Such a reading counts as "
    "what it is, a bound, and is never taken for the number itself."
)
EMPTY: Final = "Leave empty what you didn’t read. An empty field never counts as nought."

TAKE_BACK: Final = (
    "Such as: read on the wrong wall. The reading stays in the history with your reason, and counts no more. "
    "Where only the number is wrong, correct it instead."
)

LAYER: Final = "Numbered outward from the wall: the first coat on the masonry is 1, what is put on it 2."
BINDER: Final = (
    "What sets the mortar or carries the paint; it stands on the bag. “Unknown” is better than a guess: a "
    "coat that passes water vapour and one that doesn’t are told apart by it."
)
MIX: Final = "Binder to sand by volume, such as 1:3, or the bag’s own name for it."
THICKNESS: Final = "All its coats together. A probe or a drilled hole tells, where the record doesn’t."
FOUND: Final = (
    "It stood already when you took the wall over. That it lasted so long is then no proof of how long such"
    " a coat lasts."
)
EARLIEST: Final = "Where you only know a range of dates, the earliest day it can have been."
AREA: Final = "The coated area, where it isn’t the section’s whole length times height."
SD: Final = "From the maker’s sheet: the layer of still air that holds vapour back as much. It overrides µ."
REMOVAL: Final = (
    "“Failed” where it had let go, blistered or held water; only this counts against the coat. “Damage” "
    "where something else broke it."
)
SOURCE_CHECK: Final = (
    "Walk round outside and in: gutter, downpipe, the fall of the paving, pipes, window well, the "
    "neighbour’s side. Write what you looked at and what you found, also where you found nothing."
)
EVENT_NOTE: Final = (
    "What happened, where, and who said so. Of a wall that was opened: where, how wet it was behind the "
    "coat, and how deep the mortar was soft."
)
ACKNOWLEDGE: Final = "You have seen it and will look at the wall. Nothing is decided by that."
CONFIRM: Final = (
    "You were at the wall and it is so. Write what you saw: which patch, how it sounded, what came out of "
    "it. It then stays open until something is done."
)
DISMISS: Final = (
    "You were at the wall and it is not so. Write what you saw instead. It then rests for a year, whatever "
    "the readings say."
)
FOLLOW_UP: Final = "When you will look whether it worked. A wet season later tells most."
ACTIONS: Final = (
    "Source mended: the water itself was led away. Patched, stripped, recoated: the coat was worked on. "
    "Watched: nothing yet, and the flag stays open."
)
ALLOCATED: Final = (
    "Toss a coin before you look at the walls, or take turns: then the arms can be compared. Where somebody"
    " chose which wall gets which coat, say so; no difference can then be laid to the coat alone."
)
ARM: Final = "The treatment under test, in the same words for each section that gets it."
OUTCOME: Final = (
    "What decides it. Affected share: how fast the coat comes off, a year. A face meter can’t compare "
    "different coats, since the coat itself moves it."
)
PASSWORD: Final = "Only for somebody new here; they can sign in with it at once. Tell it to them in person."
