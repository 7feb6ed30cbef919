"""Deciding about one thing or many: the form, what would change, and the decision itself."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views import View

from ...access import cautioning, chamber, consenting, decisions, impact, wording
from ...access.impact import Impact
from ...access.showing import Label
from ...models import Kind
from ..loading import GatedRequest
from . import changes, parts
from .forms import CLOSED, OPEN, DecisionForm
from .parts import Shown
from .room import council_page

REMEMBERED = ("decided_on", "present", "minute")  # of the last decision of this sitting: a meeting decides much


class Decide(View):
    """`step` is "look" (show what would change), "change" (back to the form) or "confirm"."""

    request: GatedRequest

    def get(self, request: GatedRequest, kind: str = "", ref: str = "") -> HttpResponse:
        chosen = self._chosen(kind, ref)
        return self._ask(self._form(chosen, None), chosen)

    def post(self, request: GatedRequest, kind: str = "", ref: str = "") -> HttpResponse:
        chosen = self._chosen(kind, ref)
        if request.POST.get("step") in (None, "choose"):
            return self._ask(self._form(chosen, None), chosen)
        form = self._form(chosen, request.POST)
        step = request.POST.get("step")
        if step == "change" or not form.is_valid():
            return self._ask(form, chosen)
        try:
            found = impact.of(request.gate, lambda: self._enter(form))
            if step == "confirm" and not self._is_overtaken(form):
                self._enter(form)
                return self._done(form)
        except decisions.TakenBack as error:
            form.add_error("outcome", consenting.why_not_opened(request.gate, error))  # type: ignore[arg-type]
            return self._ask(form, chosen)
        except ValidationError as error:
            form.add_error(None, error.messages)
            return self._ask(form, chosen)
        return self._show(form, chosen, found)

    # --- which items ---

    def _chosen(self, kind: str, ref: str) -> list[Label]:
        """The items to decide about: the one of the address, or those named in the request."""
        gate = self.request.gate
        if ref:
            item = chamber.find(gate, kind, ref)
            if item is None:
                raise Http404
            return [chamber.labels(gate, [item.pk])[item.pk]]
        given = self.request.POST if self.request.method == "POST" else self.request.GET
        numbers = list(chamber.numbers_of(gate, [*given.getlist("shown"), *given.getlist("items")]).values())
        more = [*self._by(given.get("by", "")), *self._waiting(given.get("waiting", ""), given.get("tied", ""))]
        numbers = list(dict.fromkeys([*numbers, *more]))
        found = chamber.labels(gate, numbers)
        return [found[number] for number in numbers]

    def _by(self, ref: str) -> list[int]:
        """A recording, speaker, place, figure or topic, with all that is tied to it."""
        gate = self.request.gate
        around = [chamber.tied_to(gate, number) for number in chamber.numbers_of(gate, [ref] if ref else []).values()]
        return sorted(set().union(*around))

    def _waiting(self, kind: str, tied: str) -> list[int]:
        """All that waits, of one kind or every kind (`all`), or what of it is tied to one item."""
        if not kind:
            return []
        by = list(chamber.numbers_of(self.request.gate, [tied] if tied else []).values())
        return chamber.waiting(self.request.gate, "" if kind == "all" else kind, by[0] if by else None)

    def _form(self, chosen: list[Label], data: Any) -> DecisionForm:
        gate = self.request.gate
        numbers = [one.number for one in chosen]
        initial = dict(self.request.session.get("meeting", {}))
        initial |= {"items": [one.ref for one in chosen], "seen": chamber.standing(numbers)}
        return DecisionForm(
            data,
            items=[(one.ref, f"{one.text} ({parts.kind_word(one.kind)})") for one in chosen],
            numbers={one.ref: one.number for one in chosen},
            kinds={one.kind for one in chosen},
            conditions=chamber.conditions_on(gate, numbers),
            initial=initial,
        )

    # --- the three pages ---

    def _ask(self, form: DecisionForm, chosen: list[Label]) -> HttpResponse:
        if not chosen:
            messages.error(self.request, _("Mark at least one thing to decide about."))  # type: ignore[arg-type]
            return redirect("council")
        return render(self.request, "council/decide.html", self._context(form, chosen) | {"about": self._about(chosen)})

    def _about(self, chosen: list[Label]) -> Shown | None:
        """What is known of a single item: where it lies, what it is tied to, what reaches it already."""
        if len(chosen) > 1:
            return None
        gate = self.request.gate
        one = chosen[0]
        card = chamber.waiting_cards(gate, [one.number])[0]
        return {
            "label": parts.named(one),
            "within": parts.named(card.within) if card.within else None,
            "ties": [parts.chip(tie, parts.kind_word(tie.kind)) for tie in card.ties],
            "limits": [parts.condition(each, one) for each in card.conditions],
            "ruling": parts.decision(chamber.newest_decision(gate, one.number)),
            "has_two": len({each.decision.ref for each in card.conditions if each.decision}) > 1,
            "links": self._links(one),
            "by_url": f"{reverse('decide_many')}?by={one.ref}" if self._has_more(one) else "",
        }

    def _links(self, one: Label) -> list[Shown]:
        """What else a council member can do about it."""
        found = [(_("Who meets it, and why"), reverse("explain", args=[one.kind, one.ref]))]
        found += [(_("Entrust somebody"), reverse("entrust", args=[one.kind, one.ref]))]
        if one.kind == Kind.RECORDING:
            found.append((_("Consent"), reverse("consent", args=[one.ref])))
        if one.kind in cautioning.KINDS:
            found.append((_("Cautions before playing"), reverse("cautions", args=[one.kind, one.ref])))
        if one.kind == Kind.PERSON:
            found.append((_("Let the name rest"), f"{reverse('rest_name')}?person={one.ref}"))
        found.append((_("Who met it"), reverse("report", args=[one.kind, one.ref])))
        found.append((_("In the ledger"), f"{reverse('ledger')}?item={one.ref}"))
        return [{"label": words, "url": url} for words, url in found]

    def _has_more(self, one: Label) -> bool:
        return one.kind != Kind.SPAN and len(chamber.tied_to(self.request.gate, one.number)) > 1

    def _show(self, form: DecisionForm, chosen: list[Label], found: list[Impact]) -> HttpResponse:
        overtaken = self._is_overtaken(form)
        form.data = self.request.POST.copy()
        form.data["seen"] = chamber.standing(form.targets())
        marked = set(form.cleaned_data["items"])
        context = self._context(form, chosen) | {
            "sentence": sentence(form),
            "marked": [parts.named(one) for one in chosen if one.ref in marked],
            "impacts": changes.shown(self.request.gate, found),
            "offered": impact.offered_otherwise(form.targets(), form.cleaned_data.get("offering") or ""),
            "staying": self._staying(form),
            "overtaken": overtaken and self.request.POST.get("step") == "confirm",
        }
        return render(self.request, "council/preview.html", context)

    def _context(self, form: DecisionForm, chosen: list[Label]) -> Shown:
        title = chosen[0].text if len(chosen) == 1 else _("%(count)d things at once") % {"count": len(chosen)}
        return {
            "nav": "council",
            "form": form,
            "title": title,
            "lang": chosen[0].language if len(chosen) == 1 else "",
            "crumbs": parts.crumbs(_("Decide")),
            "action": self.request.path,
            "shown": [one.ref for one in chosen],
            "cancel_url": parts.address(chosen[0]) if self._has_page(chosen) else reverse("council"),
        }

    def _has_page(self, chosen: list[Label]) -> bool:
        return len(chosen) == 1 and chosen[0].kind != Kind.SPAN

    def _staying(self, form: DecisionForm) -> list[Shown]:
        """Conditions on the items that this decision leaves in place."""
        ended = set(form.act().lift)
        rows = chamber.conditions_on(self.request.gate, form.targets())
        return [parts.condition(one) for one in rows if one.number not in ended]

    # --- the act ---

    def _is_overtaken(self, form: DecisionForm) -> bool:
        """Somebody else decided about one of these since the page was opened."""
        known = (chamber.standing(form.targets()), chamber.standing(form.numbers.values()))
        return form.cleaned_data["seen"] not in known

    def _enter(self, form: DecisionForm) -> None:
        decisions.decide(self.request.user, form.as_minute(), form.act())

    def _done(self, form: DecisionForm) -> HttpResponse:
        self.request.session["meeting"] = {name: str(form.cleaned_data[name]) for name in REMEMBERED}
        words = ngettext(
            "Decided about %(count)d thing. It is in force from now on.",
            "Decided about %(count)d things. It is in force from now on.",
            len(form.targets()),
        )
        messages.success(self.request, words % {"count": len(form.targets())})  # type: ignore[arg-type]
        return redirect("council")


def sentence(form: DecisionForm) -> str:
    """The outcome in plain words."""
    given = form.cleaned_data
    if given["outcome"] == CLOSED:
        words = _("Closed to all but those entrusted with it.")
    elif given["outcome"] == OPEN:
        words = _("Open to everyone.")
    else:
        names = dict(form.fields["audiences"].choices)  # type: ignore[attr-defined]
        words = _("Only for %(audiences)s.") % {"audiences": wording.joined([names[one] for one in given["audiences"]])}
    if given.get("season"):
        names = dict(form.fields["season"].choices)  # type: ignore[attr-defined]
        words += " " + _("In the season “%(season)s” alone.") % {"season": names[given["season"]]}
    return f"{words} {_days(given.get('first_day'), given.get('last_day'))}".strip()


def _days(first: date | None, last: date | None) -> str:
    """Between which days a limit holds, where it does not hold for good."""
    days = {"first": first and date_format(first, "j F Y"), "last": last and date_format(last, "j F Y")}
    if first and last:
        return _("This limit holds from %(first)s to the end of %(last)s, and not before or after.") % days
    if first:
        return _("This limit holds from %(first)s on, and not before.") % days
    return _("This limit holds to the end of %(last)s, and not after.") % days if last else ""


decide = council_page(Decide.as_view())  # type: ignore[arg-type]

urlpatterns: list[URLPattern] = [
    path("council/decide/", decide, name="decide_many"),
    path("council/decide/<str:kind>/<str:ref>/", decide, name="decide"),
]
