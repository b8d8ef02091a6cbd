"""Closed vocabularies of the case: unknown, not asked and none are three different answers."""

from __future__ import annotations

from enum import StrEnum


class Answer(StrEnum):
    """An answer to a question of fact. A key left out of the file is ``unknown``."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Side(StrEnum):
    """The eye, always as a whole word."""

    RIGHT = "right"
    LEFT = "left"

    @property
    def other(self) -> Side:
        """The fellow eye."""
        return Side.LEFT if self is Side.RIGHT else Side.RIGHT


class Sex(StrEnum):
    """Sex as the published series record it."""

    FEMALE = "female"
    MALE = "male"
    UNKNOWN = "unknown"


class Asked(StrEnum):
    """Whether a list was asked for at all: an empty list proves nothing."""

    NOT_ASKED = "not asked"
    NONE = "none"
    KNOWN = "known"


class NucleusGrade(StrEnum):
    """How hard the surgeon judges the nucleus to be, in words."""

    SOFT = "soft"
    MEDIUM = "medium"
    HARD = "hard"
    BRUNESCENT = "brunescent"
    UNKNOWN = "unknown"


class PupilGrade(StrEnum):
    """The surgeon's own grade of the dilated pupil; never derived from millimetres."""

    LARGE = "large"
    MEDIUM = "medium"
    SMALL = "small"
    UNKNOWN = "unknown"


class Glaucoma(StrEnum):
    """Glaucoma of the eye. A pressure rise on steroid drops is not glaucoma."""

    NONE = "none"
    OPEN_ANGLE = "open angle"
    ANGLE_CLOSURE = "angle closure"
    OTHER = "other"
    UNKNOWN = "unknown"


class Retinopathy(StrEnum):
    """Diabetic retinopathy of the eye. Having diabetes is not having retinopathy."""

    NONE = "none"
    MILD = "mild"
    MODERATE = "moderate"
    SEVERE = "severe"
    PROLIFERATIVE = "proliferative"
    UNKNOWN = "unknown"


class TearSac(StrEnum):
    """The tear sac on syringing."""

    CLEAR = "clear"
    BLOCKED_CLEAR = "blocked, clear fluid"
    PUS = "pus"
    NOT_EXAMINED = "not examined"


class LightProjection(StrEnum):
    """Projection of light in the four quadrants."""

    ACCURATE = "accurate"
    INACCURATE = "inaccurate"
    NOT_TESTED = "not tested"


class Ultrasound(StrEnum):
    """Ultrasound of the back of the eye."""

    NORMAL = "normal"
    ABNORMAL = "abnormal"
    NOT_DONE = "not done"


class Operation(StrEnum):
    """The operation, named in full."""

    PHACO = "phacoemulsification"
    SMALL_INCISION = "manual small-incision"
    EXTRACAPSULAR = "extracapsular"
    PHACO_TRABECULECTOMY = "phacoemulsification with trabeculectomy"

    @property
    def is_phaco(self) -> bool:
        """Whether ultrasound breaks up the lens."""
        return self in (Operation.PHACO, Operation.PHACO_TRABECULECTOMY)


class Anaesthesia(StrEnum):
    """How the eye is made numb."""

    TOPICAL = "topical"
    TOPICAL_INTRACAMERAL = "topical and intracameral"
    SUB_TENON = "sub-Tenon"
    PERIBULBAR = "peribulbar"
    RETROBULBAR = "retrobulbar"
    GENERAL = "general"

    @property
    def is_needle_block(self) -> bool:
        """Whether a sharp needle passes beside or behind the eye."""
        return self in (Anaesthesia.PERIBULBAR, Anaesthesia.RETROBULBAR)

    @property
    def is_topical(self) -> bool:
        """Whether the eye can still move during surgery."""
        return self in (Anaesthesia.TOPICAL, Anaesthesia.TOPICAL_INTRACAMERAL)


class SurgeonGrade(StrEnum):
    """Grade of the operating surgeon, in the words of the published series."""

    CONSULTANT = "consultant"
    ASSOCIATE_SPECIALIST = "associate specialist"
    STAFF_GRADE = "staff grade"
    FELLOW = "fellow"
    SPECIALIST_REGISTRAR = "specialist registrar"
    SENIOR_HOUSE_OFFICER = "senior house officer"

    @property
    def is_trainee(self) -> bool:
        """Whether the surgeon is in training."""
        return self in (SurgeonGrade.FELLOW, SurgeonGrade.SPECIALIST_REGISTRAR, SurgeonGrade.SENIOR_HOUSE_OFFICER)


class LensDesign(StrEnum):
    """Build of the artificial lens."""

    SINGLE_PIECE = "single-piece"
    THREE_PIECE = "three-piece"
    RIGID = "rigid"


class LensPlace(StrEnum):
    """Where in the eye the lens is meant to sit."""

    BAG = "capsular bag"
    SULCUS = "ciliary sulcus"
    ANTERIOR_CHAMBER = "anterior chamber"
    SCLERAL = "scleral fixation"


class Payer(StrEnum):
    """Who pays. A free operation gives the same rights."""

    FREE = "free"
    CAMP = "camp"
    SCHEME = "scheme"
    INSURED = "insured"
    PAYING = "paying"
    UNKNOWN = "unknown"


class DecisionBasis(StrEnum):
    """Who decides, and on what basis: a closed list."""

    SELF = "self"
    PARENT_OF_MINOR = "parent of a minor"
    LEGAL_GUARDIAN = "legal guardian"


class DropGiver(StrEnum):
    """Who puts the drops in."""

    SELF = "self"
    HELPER = "named helper"
    NOBODY = "nobody"
    UNKNOWN = "unknown"


class ExtraStep(StrEnum):
    """Extra steps that may become necessary and can be agreed one by one in advance."""

    LARGER_INCISION = "larger incision"
    ANTERIOR_VITRECTOMY = "anterior vitrectomy"
    OTHER_LENS_PLACE = "other lens or place"
    NO_LENS_TODAY = "no lens today"
    STITCH = "stitch"
    PUPIL_DEVICE = "pupil device"
    CAPSULE_RING = "capsular tension ring"
    OTHER_ANAESTHESIA = "other anaesthesia"
    SECOND_OPERATION = "second operation"


class CapColour(StrEnum):
    """Colour of a bottle's cap in plain words, as seen."""

    WHITE = "white"
    BLACK = "black"
    GREY = "grey"
    BROWN = "brown"
    RED = "red"
    PINK = "pink"
    ORANGE = "orange"
    YELLOW = "yellow"
    GREEN = "green"
    TURQUOISE = "turquoise"
    BLUE = "blue"
    PURPLE = "purple"
