"""Seasons by dates, by a switch and by the sky; their edges are honoured, to the microsecond, in every reading."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from archive.access import decisions, explain, founding, seasonal, seasons, skyseasons, writing
from archive.access.gate import Gate
from archive.models import Figure, House, Item, LedgerRow, Level, Season

from . import oracle_sky
from .conftest import bring, open_up

pytestmark = pytest.mark.django_db

STARS = (17702, 17499, 17847)  # a group near RA 3h 47m, declination +24 degrees; the numbers are Hipparcos numbers
HOME = {"latitude_deg": 46.0, "longitude_deg": -38.0, "time_zone": "Etc/GMT+3"}
ZONE = ZoneInfo("Etc/GMT+3")
TICK = timedelta(microseconds=1)


@pytest.fixture
def home(cast):
    founding.found(language="en", **HOME)
    names = [writing.NameGiven("en", "The Tufts", True)]
    figure = writing.add_figure(None, names, shape="group", stars=list(STARS), lines=[])
    return {"figure": figure, "by": cast["council"]}


def opened_in(cast, tmp_path, season: Season):
    recording = bring(None, tmp_path, "A talk")
    open_up(cast["council"], recording, terms=decisions.Terms([founding.everyone()], season=season))
    return recording


def level(item, moment: datetime) -> Level:
    gate = Gate(None, moment)
    found = gate.level(item.pk)
    assert found == gate.level_now(type(item).ungated.get(pk=item.pk)) == explain.of(
        Item.ungated.get(pk=item.pk), None, moment
    ).level
    return found


# --- by a switch ---


def test_the_council_opens_and_closes_a_season_by_hand(cast, client, home, tmp_path):
    season = seasonal.by_switch(home["by"], "Snow", "Snow is on the ground.")
    recording = opened_in(cast, tmp_path, season)
    address = reverse("recording", args=[recording.ref])
    assert client.get(address).status_code == 404
    client.force_login(cast["council"])
    page = client.get(reverse("seasons")).content.decode()
    assert "Open the season now" in page
    client.post(reverse("switch_season", args=[season.ref]), {"on": "yes", "words": "first snow on the head"})
    client.logout()
    assert client.get(address).status_code == 200
    assert "first snow on the head" in LedgerRow.objects.get(event="season opened").detail
    client.force_login(cast["council"])
    client.post(reverse("switch_season", args=[season.ref]), {"on": "no"})
    again = client.post(reverse("switch_season", args=[season.ref]), {"on": "no"}, follow=True)
    assert "Somebody did that already." in again.content.decode()
    client.logout()
    assert client.get(address).status_code == 404


def test_a_season_by_dates_has_no_switch(cast, home):
    season = seasonal.by_dates(home["by"], "Winter", (11, 1), (2, 15))
    with pytest.raises(ValidationError, match="not opened and closed by hand"):
        seasonal.switch(home["by"], season.ref, True)


# --- by the sky ---


def altitudes_at_dusk(day: date) -> tuple[float, np.ndarray]:
    """The sun's lowest allowed altitude found, and the stars' altitudes then, by another library (astropy)."""
    from astropy import units
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_sun
    from astropy.time import Time
    from astropy.utils import iers

    iers.conf.auto_download = False
    iers.conf.auto_max_age = None
    iers.conf.iers_degraded_accuracy = "ignore"
    spot = EarthLocation(lat=HOME["latitude_deg"] * units.deg, lon=HOME["longitude_deg"] * units.deg)
    noon = Time(datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(hours=HOME["longitude_deg"] / 15))
    moments = noon + np.arange(0, 12 * 60) * units.min
    sun = get_sun(moments).transform_to(AltAz(obstime=moments, location=spot)).alt.deg
    dusk = moments[int(np.argmax(sun <= -12.0))]
    # ICRS places of the three stars, to a tenth of a degree (Hipparcos Catalogue, ESA SP-1200).
    stars = SkyCoord([56.87, 56.22, 57.29] * units.deg, [24.11, 24.11, 24.05] * units.deg)
    return float(sun.min()), stars.transform_to(AltAz(obstime=dusk, location=spot)).alt.deg


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("year", [2024, 2026])
def test_up_at_dusk_agrees_with_another_library(year):
    """A star gains a degree a day at dusk; places and times here are good to a quarter: a day's margin is ample."""
    days = skyseasons.days_of("dusk", STARS, HOME["latitude_deg"], HOME["longitude_deg"], year)
    edges = [day for day in days if (day + timedelta(days=1)) not in days and day.month < 12]
    edges += [day for day in days if (day - timedelta(days=1)) not in days and day.month > 1]
    assert len(edges) == 2
    for edge in edges:
        for away in (-10, -2, 2, 10):
            day = edge + timedelta(days=away)
            _lowest, heights = altitudes_at_dusk(day)
            assert (np.mean(heights > 10.0) >= 0.5) == (day in days), (day, heights)


def test_from_first_dawn_rising_to_last_dusk_setting_goes_by_the_phases_of_its_brightest_star():
    """The phases themselves are held to Boll (1910) and Schiaparelli (1926) by the tests of archive.sky."""
    from archive.sky import Place, star_phases

    days = skyseasons.days_of("year", STARS, 46.0, -38.0, 2026)
    found = star_phases(17702, Place(46.0, -38.0), 2026)
    assert skyseasons.brightest(STARS) == 17702
    rising, setting = (date.fromisoformat(each[0]) for each in (found.morning_rising, found.evening_setting))
    assert {rising, setting, date(2026, 1, 1), date(2026, 12, 31)} <= days
    assert not days & {rising - timedelta(days=1), setting + timedelta(days=1)}


@pytest.mark.parametrize("year", [2024, 2025, 2026])
def test_a_star_that_rises_at_dawn_before_it_has_set_at_dusk_is_always_seen(year):
    """Vega at 46 degrees north rises at dawn in November and sets at dusk in February: tests/oracle_sky.py has it up at
    some time of every night."""
    for day in (date(year, 1, 1) + timedelta(days=at) for at in range(0, 365, 9)):
        assert oracle_sky.holds("year", "Vega", (46.0, -38.0), day), day
    days = skyseasons.days_of("year", (oracle_sky.STARS["Vega"][0],), 46.0, -38.0, year)
    assert len(days) == (366 if year == 2024 else 365)


@pytest.mark.parametrize("rule", ["dusk", "year"])
def test_its_edges_are_honoured_at_the_home_places_midnight(cast, home, tmp_path, rule):
    season = seasonal.by_sky(home["by"], "Tufts", home["figure"].pk, rule)
    recording = opened_in(cast, tmp_path, season)
    turns = seasons.turns(seasons.of(season), ZONE, 2026, 2)
    assert len(turns) == 4
    for day, opens in turns:
        edge = datetime(day.year, day.month, day.day, tzinfo=ZONE)
        assert level(recording, edge - TICK) == (Level.NOTHING if opens else Level.OPEN)
        assert level(recording, edge) == (Level.OPEN if opens else Level.NOTHING)
        kept = Gate(None, edge - timedelta(days=1))
        assert kept.changes_at() == edge, "what was worked out the day before ends here"


def test_an_edge_years_ahead_is_not_missed_by_what_is_kept(cast, home, tmp_path):
    """Years after the next are worked out at the turn of the year; what is kept never lasts past that."""
    season = seasonal.by_sky(home["by"], "Tufts", home["figure"].pk, "dusk")
    opened_in(cast, tmp_path, season)
    for moment in (datetime(2026, 5, 1, tzinfo=UTC), datetime(2040, 7, 1, tzinfo=UTC)):
        assert Gate(None, moment).changes_at() < moment + timedelta(days=366)


def test_changing_the_figure_does_not_move_the_season(cast, home):
    season = seasonal.by_sky(home["by"], "Tufts", home["figure"].pk, "dusk")
    before = seasons.of(season)
    Figure.ungated.filter(pk=home["figure"].pk).update(stars=[32349])
    House.objects.filter(pk=1).update(latitude_deg=-30.0, longitude_deg=10.0)
    assert seasons.of(Season.objects.get(pk=season.pk)) == before


def test_what_the_sky_cannot_give_is_refused_in_words(cast, home):
    figure = home["figure"]

    def refused(stars: list[int], rule: str) -> str:
        Figure.ungated.filter(pk=figure.pk).update(stars=stars)
        with pytest.raises(ValidationError) as error:
            seasonal.by_sky(home["by"], "Tufts", figure.pk, rule)
        return " ".join(error.value.messages)

    assert "never sets at the home place" in refused([11767], "year")  # declination +89 degrees
    assert "never rises at the home place" in refused([30438], "year")  # declination -53 degrees
    assert "open on no day of the year" in refused([30438], "dusk")
    assert "would never close" in refused([91262], "year")  # declination +39 degrees: seen on some part of every night
    assert "up at every dusk" in refused([11767], "dusk")
    assert "No stars are written down" in refused([], "dusk")
    assert "not in the star list" in refused([999_999], "year")
    assert "Choose how the season goes" in refused(list(STARS), "noon")


def test_the_years_outside_the_calendar_are_closed():
    assert skyseasons.days_of("dusk", STARS, 46.0, -38.0, 1500) == frozenset()
    season = seasons.SkySeason("dusk", STARS, 46.0, -38.0)
    for moment in (datetime(1, 1, 2, tzinfo=UTC), datetime(9999, 12, 30, tzinfo=UTC)):
        assert not season.is_open(moment, ZONE)
        season.edges(moment, ZONE)
        seasons.DateSeason((11, 1), (2, 15)).edges(moment, ZONE)


# --- the page ---


def test_only_the_council_finds_the_pages(cast, client, home):
    season = seasonal.by_switch(home["by"], "Snow")
    for name in ("archivist", "educator", "keeper", "family", "plain"):
        client.force_login(cast[name])
        assert client.get(reverse("seasons")).status_code == 404
        assert client.get(reverse("season", args=[season.ref])).status_code == 404
        assert client.post(reverse("switch_season", args=[season.ref]), {"on": "yes"}).status_code == 404
    assert not Season.objects.get().is_on


def test_the_page_shows_ten_years_of_openings_and_closings(cast, client, home):
    client.force_login(cast["council"])
    sent = {"name": "Tufts", "kind": "sky", "figure": home["figure"].ref, "sky_rule": "year"}
    page = client.post(reverse("seasons"), sent, follow=True).content.decode()
    assert page.count("<tr><td>") == 20
    assert "by about 3 days" in page
    client.post(reverse("seasons"), {"name": "Winter", "kind": "dates", "from_day": "1", "from_month": "11",
                                     "to_day": "15", "to_month": "2"})
    assert "each year from 1 November to 15 February" in client.get(reverse("seasons")).content.decode()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"name": ""}, "Give the season a name."),
        ({"kind": ""}, "Choose one of the three."),
        ({"from_day": "30", "from_month": "2"}, "February has no day 30. Choose another day or another month."),
        ({"name": "WINTER"}, "There is a season of that name already."),
        ({"kind": "sky", "figure": ""}, "Choose the figure that the season goes by."),
    ],
)
def test_what_cannot_be_is_refused_in_words(cast, client, home, wrong, words):
    seasonal.by_dates(home["by"], "Winter", (11, 1), (2, 15))
    client.force_login(cast["council"])
    sent = {"name": "New", "kind": "dates", "from_day": "1", "from_month": "1", "to_day": "2", "to_month": "2", **wrong}
    assert words in client.post(reverse("seasons"), sent).content.decode()
    assert Season.objects.count() == 1
