"""Seasons as the council keeps them: making one by dates, by a switch or by the sky; opening and closing by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from ..models import Account, Condition, Figure, Season, SeasonKind, SkyRule
from . import chamber, decisions, ledger, policy, seasons, showing, skyseasons
from .gate import Gate
from .showing import Label

YEARS_SHOWN = 10


@dataclass(frozen=True)
class SeasonShown:
    """`opens_or_closes` is the next moment that time alone brings; `turns` (day, opens) over the years shown."""

    ref: str
    name: str
    about: str
    kind: str
    is_open: bool
    opens_or_closes: datetime | None
    turns: tuple[tuple[date, bool], ...]
    first: tuple[int, int]
    last: tuple[int, int]
    sky_rule: str
    figure: Label | None
    uncertainty_days: int
    uses: int  # conditions that name it


# --- reading ---


def every(gate: Gate) -> list[SeasonShown]:
    """All seasons, by name, without the years ahead."""
    decisions.require(gate.account, "is_council")
    rows = list(Season.objects.all())
    named = chamber.labels(gate, {row.figure_id for row in rows if row.figure_id})
    return sorted((_shown(gate, row, named, 0) for row in rows), key=lambda one: (one.name.casefold(), one.ref))


def one(gate: Gate, ref: str) -> SeasonShown | None:
    """One season with its openings and closings for ten years."""
    decisions.require(gate.account, "is_council")
    row = Season.objects.filter(ref=ref).first()
    if row is None:
        return None
    return _shown(gate, row, chamber.labels(gate, [row.figure_id] if row.figure_id else []), YEARS_SHOWN)


def _shown(gate: Gate, row: Season, named: dict[int, Label], years: int) -> SeasonShown:
    season, zone = seasons.of(row), gate.policy.zone
    this_year = gate.moment.astimezone(zone).year
    by_year = row.kind == SeasonKind.SKY and row.sky_rule == SkyRule.YEAR
    return SeasonShown(
        ref=row.ref,
        name=row.name,
        about=row.about,
        kind=row.kind,
        is_open=season.is_open(gate.moment, zone),
        opens_or_closes=seasons.next_turn(season, gate.moment, zone),
        turns=tuple(seasons.turns(season, zone, this_year, years)) if years else (),
        first=(row.from_month, row.from_day),
        last=(row.to_month, row.to_day),
        sky_rule=row.sky_rule,
        figure=named.get(row.figure_id or 0),
        uncertainty_days=skyseasons.UNCERTAINTY_DAYS if by_year else 0,
        uses=Condition.ungated.filter(season=row, lifted_by__isnull=True).count(),
    )


def row_of(ref: str) -> Season | None:
    return Season.objects.filter(ref=ref).first()


def figures(gate: Gate) -> list[Label]:
    """The figures with stars, by name."""
    decisions.require(gate.account, "is_council")
    numbers = [row.pk for row in Figure.ungated.all() if row.stars]
    return sorted(chamber.labels(gate, numbers).values(), key=lambda label: (label.text.casefold(), label.ref))


# --- making ---


@transaction.atomic
def by_dates(by: Account, name: str, first: tuple[int, int], last: tuple[int, int], about: str = "") -> Season:
    return _make(
        by,
        Season(
            name=name.strip(),
            about=about.strip(),
            from_month=first[0],
            from_day=first[1],
            to_month=last[0],
            to_day=last[1],
        ),
    )


@transaction.atomic
def by_switch(by: Account, name: str, about: str = "") -> Season:
    """It begins closed."""
    return _make(by, Season(name=name.strip(), about=about.strip(), kind=SeasonKind.SWITCH))


@transaction.atomic
def by_sky(by: Account, name: str, figure: int, rule: str, about: str = "") -> Season:
    """A season that goes by a figure over the home place, by its stars as they are now."""
    row = Figure.ungated.get(pk=figure)
    house = showing.house()
    stars = tuple(int(star) for star in row.stars)
    year = now().year
    if rule not in SkyRule.values:
        raise ValidationError({"sky_rule": _("Choose how the season goes by the sky.")})
    if not stars:
        raise ValidationError({"figure": _("No stars are written down for this figure yet.")})
    _check_sky(rule, stars, house.latitude_deg, house.longitude_deg, year)
    return _make(
        by,
        Season(
            name=name.strip(),
            about=about.strip(),
            kind=SeasonKind.SKY,
            sky_rule=rule,
            figure=row,
            stars=list(stars),
            latitude_deg=house.latitude_deg,
            longitude_deg=house.longitude_deg,
        ),
    )


def _check_sky(rule: str, stars: tuple[int, ...], latitude_deg: float, longitude_deg: float, year: int) -> None:
    words = {
        "known": _("One of its stars is not in the star list, so that its days cannot be worked out."),
        "rises": _("It never rises at the home place."),
        "sets": _("It never sets at the home place, so that it has no first rising. Choose “up at dusk”, or dates."),
    }
    why = skyseasons.never(rule, stars, latitude_deg, longitude_deg, year)
    if why:
        raise ValidationError({"figure": words[why]})
    days = skyseasons.days_of(rule, stars, latitude_deg, longitude_deg, year)
    if not days:
        raise ValidationError({"figure": _("By this rule the season would be open on no day of the year.")})
    if len(days) >= 365:
        always = (
            _("By this rule the season would never close: the figure is up at every dusk at the home place.")
            if rule == SkyRule.DUSK
            else _("By this rule the season would never close: the figure is seen at the home place on some part of "
                   "every night.")
        )
        raise ValidationError({"figure": always})


def _make(by: Account, row: Season) -> Season:
    decisions.require(by, "is_council")
    if not row.name:
        raise ValidationError({"name": _("Give the season a name.")})
    if Season.objects.filter(name__iexact=row.name).exists():
        raise ValidationError({"name": _("There is a season of that name already. Give another name.")})
    row.clean()
    row.save()
    ledger.write("season made", by, season=row.name, kind=row.kind, rule=row.sky_rule, stars=row.stars)
    return row


# --- the switch ---


@transaction.atomic
def switch(by: Account, ref: str, on: bool, words: str = "") -> None:
    """Open or close a season by hand; in force at the next request."""
    decisions.require(by, "is_council")
    row = Season.objects.select_for_update().filter(ref=ref, kind=SeasonKind.SWITCH).first()
    if row is None:
        raise ValidationError(_("This season is not opened and closed by hand."))
    if row.is_on == on:
        raise ValidationError(_("Somebody did that already. Look at the page again."))
    row.is_on = on
    row.save(update_fields=["is_on"])
    ledger.write("season opened" if on else "season closed", by, season=row.name, words=words.strip())


def now() -> date:
    """Today at the home place."""
    return datetime.now(policy.home_zone()).date()
