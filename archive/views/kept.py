"""Searches that somebody keeps: kept from the find page, listed under the account with how much is new in each."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from ..access import found, keeping, showing
from ..access.gate import Gate, NotMet
from ..access.keeping import Kept
from ..search import finding
from ..search.counting import FACETS
from ..search.engine import NotReady
from ..templatetags.undersky import language_name
from . import find_form
from .finding_words import HOW_WORDS
from .loading import GatedRequest
from .pages.parts import Shown

NARROWED = {
    "since": gettext_lazy("told from %s"),
    "until": gettext_lazy("told until %s"),
    "kind": gettext_lazy("only %s"),
    "language": gettext_lazy("spoken in %s"),
    "heard": gettext_lazy("with sound you may hear"),
    "how": gettext_lazy("%s"),
}


# --- for the find page ---


def since(request: GatedRequest) -> Kept | None:
    """The kept search whose news the page is asked for; none where it is not the viewer's own."""
    ref = request.GET.get("new", "")
    if not ref or not ref.isascii() or not ref.isalnum():
        return None
    try:
        return keeping.one(request.gate, ref)
    except NotMet:
        return None


def seen_before(one: Kept | None) -> frozenset[int]:
    """The numbers of what answered a kept search when it was last looked at; nothing without one."""
    return frozenset(one.seen.tolist()) if one else frozenset()


def offered(request: GatedRequest, news: Kept | None) -> Shown:
    """What the page offers: to keep this question, or to say that its news has been seen."""
    asked = find_form.canonical(request.GET)
    if request.gate.account is None or not asked:
        return {}
    if news is not None:
        return {"news": _shown(request.gate, news), "seen_url": reverse("kept_seen", args=[news.ref])}
    held = next((one for one in keeping.every(request.gate) if one.asked == asked), None)
    return {"asked": asked, "is_kept": held is not None}


# --- under the account ---


@login_required
@require_safe
def listing(request: GatedRequest) -> HttpResponse:
    rows = [_shown(request.gate, one) | {"count": _news(request.gate, one)} for one in keeping.every(request.gate)]
    return render(request, "account/kept.html", {"nav": "account", "rows": rows})


def _shown(gate: Gate, one: Kept) -> Shown:
    address = f"{reverse('find')}?{one.asked}"
    return {
        "words": _words(gate, one.asked),
        "looked_at": one.looked_at,
        "url": address,
        "new_url": f"{address}&new={one.ref}",
        "seen_url": reverse("kept_seen", args=[one.ref]),
        "drop_url": reverse("drop_kept", args=[one.ref]),
    }


def _words(gate: Gate, asked: str) -> list[str]:
    """The question as words, each of its parts by itself; things by the names that the viewer meets now."""
    given = QueryDict(asked)
    parts = [given["q"]] if given.get("q", "").strip() else []
    numbers = [found.number_of(gate, name, ref) for name in FACETS for ref in given.getlist(name)]
    named = showing.labels(gate, [number for number in numbers if number is not None])
    parts += [named[number].text if number in named else _("a mark that leads nowhere now") for number in numbers]
    return parts + [_narrowed(name, given[name]) for name in NARROWED if given.get(name)]


def _narrowed(name: str, value: str) -> str:
    said = {"kind": find_form.KIND_WORDS, "how": HOW_WORDS}.get(name, {}).get(value, value)
    words = str(NARROWED[name])
    return words % (language_name(value) if name == "language" else said) if "%s" in words else words


def _news(gate: Gate, one: Kept) -> int | None:
    """How many answer now that did not then; None while there is no index to ask."""
    try:
        return len(finding.answering(gate, find_form.question(gate, QueryDict(one.asked), seen_before(one)).wanted))
    except NotReady:
        return None


@login_required
@require_POST
def keep(request: GatedRequest) -> HttpResponse:
    asked = find_form.canonical(QueryDict(request.POST.get("asked", "")))
    if not asked:
        messages.error(request, _("There is no question in that. Ask for something first, then keep it."))
        return redirect("find")
    try:
        keeping.keep(request.gate, asked, _answers(request.gate, asked))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    except NotReady:
        messages.error(request, _("The index is being brought up to date. Keep this search again in a few minutes."))
    else:
        messages.success(request, _("Kept. Your account's page says what is new in it."))
    return redirect(f"{reverse('find')}?{asked}")


def _answers(gate: Gate, asked: str) -> list[int]:
    return finding.answering(gate, find_form.question(gate, QueryDict(asked)).wanted)


@login_required
@require_POST
def seen(request: GatedRequest, ref: str) -> HttpResponse:
    one = _own(request, ref)
    try:
        keeping.look(request.gate, ref, _answers(request.gate, one.asked))
    except NotReady:
        messages.error(request, _("The index is being brought up to date. Say so again in a few minutes."))
    return redirect("kept_searches")


@login_required
@require_POST
def drop(request: GatedRequest, ref: str) -> HttpResponse:
    _own(request, ref)
    keeping.let_go(request.gate, ref)
    messages.success(request, _("That search is no longer kept."))
    return redirect("kept_searches")


def _own(request: GatedRequest, ref: str) -> Kept:
    try:
        return keeping.one(request.gate, ref)
    except NotMet as error:
        raise Http404 from error


urlpatterns: list[URLPattern] = [
    path("find/keep/", keep, name="keep_search"),
    path("account/kept/", listing, name="kept_searches"),
    path("account/kept/<str:ref>/seen/", seen, name="kept_seen"),
    path("account/kept/<str:ref>/let-go/", drop, name="drop_kept"),
]
