"""What the find page says of the ways to a passage, of what a question takes in, and of what is wrong with it."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from ..models import TieKind
from ..search import aims
from ..search.aims import Role
from ..search.finding import AS_TYPED, LIKEWISE, ONLY_WORDS, TIED

WAY_WORDS = {
    TieKind.TOLD_BY: gettext_lazy("told by"),
    TieKind.HAD_FROM: gettext_lazy("had from"),
    TieKind.TELLS_OF: gettext_lazy("tells of"),
    TieKind.BELONGS_TO: gettext_lazy("belongs to"),
    TieKind.RECORDED_AT: gettext_lazy("recorded at"),
    TieKind.NAMES_FIGURE: gettext_lazy("names the figure"),
    "topic": gettext_lazy("topic"),
    aims.IN_WORDS: gettext_lazy("spoken of in words, not tied"),
    aims.HEARD_AS: gettext_lazy("heard as “%s”"),
    aims.CALLED: gettext_lazy("called “%s” there"),
}
HOW_WORDS = {
    TIED: gettext_lazy("tied to it"),
    ONLY_WORDS: gettext_lazy("in words only"),
    AS_TYPED: gettext_lazy("as you wrote it"),
    LIKEWISE: gettext_lazy("by another name, or misheard"),
}
TROUBLE_WORDS = {
    "sky": gettext_lazy(
        "No figure and no star goes by that. Write a figure's name, a star's name (sky:Spica), a designation "
        "(sky:\"α UMi\") or a Hipparcos number (sky:HIP 11767)."
    ),
    "star": gettext_lazy(
        "The star list has no star of that number: it holds those down to magnitude 6.5. Look the number up again, "
        "or write a brighter star near it."
    ),
    "near": gettext_lazy(
        "That is no spot. Write latitude and longitude in degrees, north and east positive (near:46.01,-38.02), and "
        "how far if you like (near:46.01,-38.02,3km)."
    ),
    "place": gettext_lazy(
        "No place goes by that. Write a place's name, in quotation marks if it has several words, or latitude and "
        "longitude in degrees (near:46.01,-38.02)."
    ),
    "who": gettext_lazy("Nobody goes by that. Write a person's name, in quotation marks if it has several words."),
    "when": gettext_lazy(
        "That is no date. Write a year, 1962-07 or 1962-07-14; 1962~ for about 1962; 1960s; or two dates with a slash "
        "between (1960/1965, or 1960/.. for from 1960 on)."
    ),
    "season": gettext_lazy("Write season:now for what is told only in a season, and may be told now."),
}


def trouble_words(code: str) -> str:
    return str(TROUBLE_WORDS[code])


def role_words(role: Role) -> str:
    """Why a thing is among what was asked for; nothing where it is what was asked for."""
    percent = round(role.amount * 100)
    if role.role == aims.OVERLAPS:
        return _("shares %(percent)d %% of the stars") % {"percent": percent}
    if role.role == aims.WITHIN:
        return _("%(km)s km away") % {"km": f"{role.km:.1f}"} if role.km >= 0.05 else _("at that spot")
    words = {
        aims.ASKED: "",
        aims.HOLDS: _("holds the star"),
        aims.PART: _("a part of it"),
        aims.WHOLE: _("the whole it is a part of"),
        aims.MIRRORS: _("mirrors it on the ground"),
        aims.LEARNED: _("learned from them"),
    }
    return words[role.role]
