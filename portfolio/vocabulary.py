"""The allowed words of what stands there, each with the plain label that a page shows."""

from django.db.models import TextChoices


class Role(TextChoices):
    OWNER = "owner", "owner"
    MANAGER = "manager", "manager"
    INSPECTOR = "inspector", "inspector"
    ANALYST = "analyst", "analyst"


#: Roles that may write; an analyst only reads.
WRITING_ROLES = (Role.OWNER, Role.MANAGER, Role.INSPECTOR)


class Units(TextChoices):
    SI = "si", "metres, millimetres, °C"
    US = "us", "feet, inches, °F"


class Adjoins(TextChoices):
    SOIL = "soil", "soil"
    STREET = "street", "street"
    GARDEN = "garden", "garden"
    PARTY_WALL = "party_wall", "party wall"
    INTERIOR = "interior", "interior"


class Beyond(TextChoices):
    HEATED = "heated", "heated"
    UNHEATED = "unheated", "unheated"
    VACANT = "vacant", "vacant"
    UNKNOWN = "unknown", "unknown"


class Substrate(TextChoices):
    RUBBLE_STONE = "rubble_stone", "rubble stone"
    COURSED_STONE = "coursed_stone", "coursed stone"
    BRICK = "brick", "brick"
    CONCRETE_BLOCK = "concrete_block", "concrete block"
    POURED_CONCRETE = "poured_concrete", "poured concrete"
    MIXED = "mixed", "mixed masonry"
    UNKNOWN = "unknown", "unknown masonry"


class BeddingMortar(TextChoices):
    LIME = "lime", "lime"
    CLAY = "clay", "clay"
    NATURAL_CEMENT = "natural_cement", "natural cement"
    CEMENT_LIME = "cement_lime", "cement-lime"
    PORTLAND_CEMENT = "portland_cement", "portland cement"
    NONE = "none", "none"
    UNKNOWN = "unknown", "unknown"


class TreatmentKind(TextChoices):
    PARGE_COAT = "parge_coat", "parge coat"
    PLASTER = "plaster", "plaster"
    LIMEWASH = "limewash", "limewash"
    PAINT = "paint", "paint"
    SEALER = "sealer", "sealer"
    VAPOUR_RETARDER = "vapour_retarder", "vapour retarder"
    DRAINAGE_BOARD = "drainage_board", "drainage board"
    INSULATION = "insulation", "insulation"
    LINING = "lining", "lining"
    REPOINTING = "repointing", "repointing"
    INJECTION = "injection", "injection"
    OTHER = "other", "other work"


#: Kinds of work that are a layer on the wall's face, in whose name a wall is spoken of.
COAT_KINDS = frozenset(TreatmentKind) - {
    TreatmentKind.REPOINTING, TreatmentKind.INJECTION, TreatmentKind.OTHER,
}  # fmt: skip


class Binder(TextChoices):
    """Building limes carry their EN 459-1 designation."""

    CL_90 = "CL 90", "CL 90 lime"
    CL_80 = "CL 80", "CL 80 lime"
    CL_70 = "CL 70", "CL 70 lime"
    DL_85 = "DL 85", "DL 85 lime"
    NHL_2 = "NHL 2", "NHL 2 lime"
    NHL_3_5 = "NHL 3.5", "NHL 3.5 lime"
    NHL_5 = "NHL 5", "NHL 5 lime"
    HL_2 = "HL 2", "HL 2 lime"
    HL_3_5 = "HL 3.5", "HL 3.5 lime"
    HL_5 = "HL 5", "HL 5 lime"
    FL_A = "FL A", "FL A lime"
    FL_B = "FL B", "FL B lime"
    FL_C = "FL C", "FL C lime"
    LIME_PUTTY = "lime_putty", "lime putty"
    NATURAL_CEMENT = "natural_cement", "natural cement"
    CEMENT_LIME = "cement_lime", "cement-lime"
    PORTLAND_CEMENT = "portland_cement", "cement"
    GYPSUM = "gypsum", "gypsum"
    CLAY = "clay", "clay"
    SILICATE = "silicate", "silicate"
    ACRYLIC = "acrylic", "acrylic"
    ALKYD = "alkyd", "alkyd"
    EPOXY = "epoxy", "epoxy"
    BITUMEN = "bitumen", "bitumen"
    POLYETHYLENE = "polyethylene", "polyethylene"
    NONE = "none", "no binder"
    OTHER = "other", "other binder"
    UNKNOWN = "unknown", "unknown binder"


class RemovalReason(TextChoices):
    FAILED = "failed", "failed"
    PLANNED = "planned", "planned"
    DAMAGE = "damage", "damage"
    OTHER = "other", "other"


class Face(TextChoices):
    ROOM = "room", "room side"
    OUTSIDE = "outside", "outside"


class Purpose(TextChoices):
    PERMANENT = "permanent", "permanent"
    SACRIFICIAL = "sacrificial", "sacrificial"
    PATCH = "patch", "patch"


class DrainsTo(TextChoices):
    DRAIN = "drain", "drain"
    SUMP = "sump", "sump"
    NONE = "none", "nowhere"
    UNKNOWN = "unknown", "unknown"


class EventKind(TextChoices):
    REPAIR = "repair", "repair"
    LEAK_MENDED = "leak_mended", "leak mended"
    SOURCE_CHECK = "source_check", "source check"
    FLOOD = "flood", "flood"
    HEAVY_RAIN = "heavy_rain", "heavy rain"
    SUMP_FAILURE = "sump_failure", "sump failure"
    OPENING = "opening", "opening of the wall"
    OTHER = "other", "other event"


class PaperKind(TextChoices):
    VIOLATION = "violation", "violation"
    PERMIT = "permit", "permit"
    AUTHORITY_INSPECTION = "authority_inspection", "inspection by an authority"
    NEIGHBOUR_ACCESS = "neighbour_access", "access to a neighbour’s wall"
    OTHER = "other", "other paper"


class PaperState(TextChoices):
    OPEN = "open", "open"
    HANDED_IN = "handed_in", "handed in, not answered yet"
    CLOSED = "closed", "closed"
