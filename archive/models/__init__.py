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
    SeasonKind,
    SkyRule,
    Source,
    Touched,
)
from .accounts import Account
from .council import Ask, AskState, ContentCaution, CopyGiven, ItemCaution, Words
from .deskwork import Draft, Revision, Upload
from .figures import Figure, Mirror, Shape
from .house import House, IndexDebt
from .items import TIE_ENDS, Item, Kind, Name, Tie, TieKind, new_ref
from .kept import KeptSearch
from .layers import Layer
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
from .shelves import Posting, Sheet, Shelf
from .topics import Topic, TopicTie

__all__ = [
    "TIE_ENDS",
    "Account",
    "Ask",
    "AskState",
    "Audience",
    "Builtin",
    "ClosedSpan",
    "Combining",
    "Condition",
    "Consent",
    "ConsentState",
    "ContentCaution",
    "CopyGiven",
    "Cue",
    "Decision",
    "Draft",
    "Entrustment",
    "Figure",
    "House",
    "IndexDebt",
    "Item",
    "ItemCaution",
    "KeptSearch",
    "Kind",
    "Layer",
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
    "Posting",
    "Reach",
    "Recording",
    "Rest",
    "Revision",
    "Scope",
    "Season",
    "SeasonKind",
    "Segment",
    "Shape",
    "Sheet",
    "Shelf",
    "SkyRule",
    "Source",
    "Tie",
    "TieKind",
    "Topic",
    "TopicTie",
    "Touched",
    "Transcript",
    "TranscriptKind",
    "TranscriptProblem",
    "Upload",
    "Words",
    "new_ref",
]
