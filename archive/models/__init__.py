"""What is kept."""

from .access import (
    Audience,
    Builtin,
    Condition,
    Decision,
    Entrustment,
    LedgerRow,
    Level,
    Membership,
    NoticePages,
    PolicyVersion,
    Reach,
    Scope,
    Season,
    Source,
)
from .accounts import Account
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
from .topics import Topic, TopicTie

__all__ = [
    "TIE_ENDS",
    "Account",
    "Audience",
    "Builtin",
    "ClosedSpan",
    "Condition",
    "Consent",
    "ConsentState",
    "Cue",
    "Decision",
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
    "Person",
    "Place",
    "PolicyVersion",
    "Reach",
    "Recording",
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
    "new_ref",
]
