"""What is kept."""

from .access import (
    Audience,
    Builtin,
    Combining,
    Condition,
    Decision,
    Entrustment,
    LedgerRow,
    Level,
    Membership,
    NoticePages,
    OwnWish,
    PolicyVersion,
    Reach,
    Scope,
    Season,
    Source,
)
from .accounts import Account
from .deskwork import Draft, Revision, Upload
from .figures import Figure, Mirror, Shape
from .house import House, IndexDebt
from .items import TIE_ENDS, Item, Kind, Name, Tie, TieKind, new_ref
from .people import Person
from .places import Place
from .recordings import (
    ClosedSpan,
    Consent,
    ConsentState,
    Cue,
    Master,
    Offering,
    Recording,
    Segment,
    Transcript,
    TranscriptKind,
    TranscriptProblem,
)
from .resting import Rest
from .topics import Topic, TopicTie

__all__ = [
    "TIE_ENDS",
    "Account",
    "Audience",
    "Builtin",
    "ClosedSpan",
    "Combining",
    "Condition",
    "Consent",
    "ConsentState",
    "Cue",
    "Decision",
    "Draft",
    "Entrustment",
    "Figure",
    "House",
    "IndexDebt",
    "Item",
    "Kind",
    "LedgerRow",
    "Level",
    "Master",
    "Membership",
    "Mirror",
    "Name",
    "NoticePages",
    "Offering",
    "OwnWish",
    "Person",
    "Place",
    "PolicyVersion",
    "Reach",
    "Recording",
    "Rest",
    "Revision",
    "Scope",
    "Season",
    "Segment",
    "Shape",
    "Source",
    "Tie",
    "TieKind",
    "Topic",
    "TopicTie",
    "Transcript",
    "TranscriptKind",
    "TranscriptProblem",
    "Upload",
    "new_ref",
]
