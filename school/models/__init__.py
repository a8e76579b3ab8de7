from school.models.absences import InstructorAbsence
from school.models.arenas import Arena, ArenaClosure, KeepingPlace, Line, StorePiece
from school.models.audit import AuditEntry
from school.models.drafts import GridDraft
from school.models.feeds import FeedToken
from school.models.grids import GridOverride, LessonGrid
from school.models.guardians import SecondGuardian
from school.models.horses import Horse, HorseDayOff, HorseState
from school.models.inbox import MailboxMark, Reply
from school.models.lessons import Lesson, LessonSeries, SeriesException
from school.models.matching import RiderConfidence, RiderHorse
from school.models.messages import (
    Invitation,
    InvitedDay,
    MessageText,
    OutboxMessage,
)
from school.models.occupancy import Occupancy
from school.models.outcomes import EarlyEnd, Outcome
from school.models.packs import LessonPack, MakeUpCredit, PackUse
from school.models.people import (
    Account,
    Client,
    Consent,
    Groundsperson,
    Instructor,
    InstructorHours,
    InstructorPaper,
    Person,
    Rider,
)
from school.models.prices import LessonPrice
from school.models.registers import HorsePapers, Incident
from school.models.ride_logs import RiddenRide, RideLog, RideNote
from school.models.riders import LevelSigning, RiderStop
from school.models.rides import Ride
from school.models.schools import School
from school.models.sideways import SidewaysRule
from school.models.table_files import OwnReference, TableFile
from school.models.terms import Term, TermBreak
from school.models.waiting import WaitingOffer, WaitingWish
from school.models.welfare import DayHeat, WelfareOverride
from school.models.yard import YardRule, YardWork

__all__ = [
    "Account",
    "Arena",
    "ArenaClosure",
    "AuditEntry",
    "Client",
    "Consent",
    "DayHeat",
    "EarlyEnd",
    "FeedToken",
    "GridDraft",
    "GridOverride",
    "Groundsperson",
    "Horse",
    "HorseDayOff",
    "HorsePapers",
    "HorseState",
    "Incident",
    "Instructor",
    "InstructorAbsence",
    "InstructorHours",
    "InstructorPaper",
    "Invitation",
    "InvitedDay",
    "KeepingPlace",
    "Lesson",
    "LessonGrid",
    "LessonPack",
    "LessonPrice",
    "LessonSeries",
    "LevelSigning",
    "Line",
    "MailboxMark",
    "MakeUpCredit",
    "MessageText",
    "Occupancy",
    "OutboxMessage",
    "Outcome",
    "OwnReference",
    "PackUse",
    "Person",
    "Reply",
    "RiddenRide",
    "Ride",
    "RideLog",
    "RideNote",
    "Rider",
    "RiderConfidence",
    "RiderHorse",
    "RiderStop",
    "School",
    "SecondGuardian",
    "SeriesException",
    "SidewaysRule",
    "StorePiece",
    "TableFile",
    "Term",
    "TermBreak",
    "WaitingOffer",
    "WaitingWish",
    "WelfareOverride",
    "YardRule",
    "YardWork",
]
