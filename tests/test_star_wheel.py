"""The star wheel: its window against ERFA's altitudes, its size on paper, and only figures that are met."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib
from datetime import date, timedelta

import erfa
import numpy as np
import pytest
from django.urls import reverse

from archive.access import decisions
from archive.exchange.star_wheel import PAPERS, WheelAsked, draw_wheel, without_shapes
from archive.models import Audience, LedgerRow
from archive.sky import FigureDrawing, SkyError, load_catalogue, wheel
from archive.sky.frames import star_vectors
from archive.sky.times import julian_day
from archive.sky.vectors import ra_dec

from .conftest import open_up
from .test_sky_pages import figure

NEW_YEAR = date(2026, 1, 1)  # a common year: the ring has 365 days


# --- the window ---


def inside(outline: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Which points lie in a polygon: the even-odd rule."""
    found = np.zeros(len(points), dtype=bool)
    for (x0, y0), (x1, y1) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        spans = (y0 > points[:, 1]) != (y1 > points[:, 1])
        across = x0 + (points[:, 1] - y0) * (x1 - x0) / (y1 - y0 if y1 != y0 else 1.0)
        found ^= spans & (points[:, 0] < across)
    return found


def shown_by(face: wheel.Face, day: float, hour: float, rows: np.ndarray) -> np.ndarray:
    """What a pair of hands would see: the disc turned until the date stands against the hour, under the window."""
    places, on_it = wheel.on_disc(face, *wheel.of_date(face, star_vectors(load_catalogue(), rows, face.year)))
    turn = wheel.hour_angles(np.asarray(hour)) - wheel.date_angles(face, np.asarray(day))
    turn = -turn if face.south else turn  # the map of the south turns the other way
    cos, sin = np.cos(turn), np.sin(turn)
    turned = np.stack([places[:, 0] * cos + places[:, 1] * sin, places[:, 1] * cos - places[:, 0] * sin], axis=1)
    return inside(wheel.window(face), turned) & on_it


def altitudes_deg(rows: np.ndarray, lat_deg: float, lon_deg: float, jd_utc: float) -> np.ndarray:
    """True altitudes by ERFA's ``atco13`` (observed place without air), independent of the engine's own."""
    ra, dec = ra_dec(star_vectors(load_catalogue(), rows, 2018.0))
    zenith = erfa.atco13(ra, dec, 0, 0, 0, 0, jd_utc, 0, 0, np.radians(lon_deg), np.radians(lat_deg), 0, 0, 0, 0, 0,
                         0, 0.55)[1]
    return 90 - np.degrees(zenith)


@pytest.mark.parametrize("lat_deg", [46.2, -35.0, 66.5, -89.5, 90.0, 30.0, 12.0, -4.0, 0.0])
def test_the_window_shows_what_stands_above_the_horizon(lat_deg):
    """By ERFA, for bright stars on random days of nine years: wrong only within the wheel's stated tolerance."""
    rows = load_catalogue().brighter(4.0)
    chance = np.random.default_rng(int(lat_deg * 10) + 900)
    for _turn in range(10):
        at, hour = int(chance.integers(0, 365)), float(chance.uniform(0, 24))
        day, lon_deg, year = NEW_YEAR + timedelta(days=at), chance.uniform(-180, 180), int(chance.integers(2014, 2023))
        jd = julian_day(year, day.month, day.day) + hour / 24 - lon_deg / 360
        above = altitudes_deg(rows, lat_deg, lon_deg, jd) + 34 / 60
        seen = np.any([shown_by(face, at, hour, rows) for face in wheel.faces(lat_deg, 2018)], axis=0)
        wrong = seen != (above > 0)
        assert np.all(np.abs(above[wrong]) < wheel.TOLERANCE_DEG), (day, hour, above[wrong])


def test_29_february_stands_between_its_neighbours():
    """The mean sun at noon on that day (sidereal time at local noon, by ERFA's gmst06) is the ring's, in tolerance."""
    for year in (2024, 2028):
        noon = julian_day(year, 2, 29) + 0.5
        # TT is 69.184 s ahead of UTC since 2017: 32.184 s by definition (IAU 1991) and 37 leap seconds (Bulletin C 52).
        sun = float(erfa.gmst06(noon, 0, noon, 69.184 / 86400))
        off = np.degrees((wheel.mean_sun(2026, wheel.FEBRUARY_29_AT) - sun + np.pi) % (2 * np.pi) - np.pi)
        assert abs(off) < 1.0


def test_east_is_left_when_north_is_up_and_the_south_is_its_mirror():
    north, south = wheel.faces(46, 2026)[0], wheel.faces(-46, 2026)[0]
    east, west, high, low = (wheel.direction_on_mask(north, at)[0] for at in (90, 270, 0, 180))
    assert east[0] < 0 < west[0]
    assert high[1] < low[1]  # y grows down
    assert np.allclose(wheel.direction_on_mask(south, 90)[0], [-east[0], east[1]])
    assert np.allclose(wheel.direction_on_mask(south, 180)[0], high, atol=1e-12)


def test_one_disc_away_from_the_equator_two_near_it():
    assert [len(wheel.faces(lat, 2026)) for lat in (90, 30, 29.9, 0, -29.9, -30)] == [1, 1, 2, 2, 2, 1]
    with pytest.raises(SkyError, match="latitude"):
        wheel.faces(91, 2026)
    with pytest.raises(SkyError, match="year"):
        wheel.faces(46, 10001)


# --- the paper ---


def streams(pdf: bytes) -> list[bytes]:
    """The content of each page (ISO 32000-1, 7.3.8 and 7.8.2: streams, deflated)."""
    found = []
    for raw in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(raw))
        except zlib.error:
            continue
    return [one for one in found if b" l S" in one or b" re" in one or b" m " in one]


def horizontal_lines_pt(page: bytes) -> list[float]:
    number = rb"(-?[\d.]+)"
    pattern = number + rb" " + number + rb" m " + number + rb" " + number + rb" l S"
    return [abs(float(c) - float(a)) for a, b, c, d in re.findall(pattern, page) if b == d]


FIGURE = FigureDrawing("Ember ʔEël", "en", [(11767, 94376)], [11767, 94376])


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_check_line_is_100_mm_on_each_sheet(paper):
    made = draw_wheel(WheelAsked(46.0, 2026, [FIGURE], paper))
    width, height = (f"{mm * 72 / 25.4:.2f}" for mm in PAPERS[paper])
    assert re.search(rf"/MediaBox \[0 0 {width} {height}\]".encode(), made)
    sheets = [page for page in streams(made) if any(abs(long - 100 * 72 / 25.4) < 0.02 for long in
                                                    horizontal_lines_pt(page))]
    assert len(sheets) == 2  # the disc and the mask


def test_the_same_wheel_is_the_same_bytes_and_another_latitude_is_not():
    asked = WheelAsked(46.0, 2026, [FIGURE])
    assert draw_wheel(asked) == draw_wheel(asked)
    assert draw_wheel(asked) != draw_wheel(WheelAsked(47.0, 2026, [FIGURE]))


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_names_and_cautions_can_be_read_out_of_it(tmp_path):
    file = tmp_path / "wheel.pdf"
    file.write_bytes(draw_wheel(WheelAsked(10.0, 2026, [FIGURE], cautions=["Never look at the sun."])))
    text = subprocess.run(["pdftotext", "-raw", file, "-"], capture_output=True, check=True, text=True).stdout
    assert text.count("\f") == 5  # two discs, two masks, and the page of words
    assert text.count("Never look at the sun.") == 5
    assert "23" in text
    assert "ʔE" in text.replace("\n", "")


def test_letters_without_a_shape_are_told():
    assert without_shapes("Aḍëtiꞌo Žuž ᐃᓄᒃ Яр") == ""
    assert without_shapes("a\U00013000b") == "\U00013000"


# --- the pages ---


@pytest.mark.usefixtures("house")
def test_only_figures_that_are_met_are_on_it_and_taking_them_is_written_down(client, cast):
    bare = client.get(reverse("star_wheel"))
    hidden = figure("Gate of Stones", 11767, 94376)
    assert client.get(reverse("star_wheel")).content == bare.content
    assert "Gate of Stones" not in client.get(reverse("star_wheel_options")).content.decode()
    client.force_login(cast["council"])
    assert client.get(reverse("star_wheel")).content == bare.content
    open_up(cast["council"], hidden)
    client.logout()
    assert client.get(reverse("star_wheel")).content != bare.content
    assert "Gate of Stones" in client.get(reverse("star_wheel_options")).content.decode()
    assert not LedgerRow.objects.filter(event="met").exists()
    assert bare["Content-Type"] == "application/pdf"
    assert bare["Cache-Control"] == "private, no-store"


@pytest.mark.usefixtures("house")
def test_a_figure_for_some_that_is_printed_stands_in_the_ledger(client, cast):
    own = figure("Gate of Stones", 11767, 94376)
    open_up(cast["council"], own, terms=decisions.Terms([Audience.objects.get(name="family")]))
    client.force_login(cast["family"])
    client.get(reverse("star_wheel"))
    row = LedgerRow.objects.filter(event="met").get()
    assert row.item == own.ref
    assert '"print"' in row.detail


@pytest.mark.usefixtures("house")
def test_a_latitude_that_is_none_is_said_at_its_field(client):
    for latitude in ("91", "north", "nan"):
        page = client.get(reverse("star_wheel"), {"latitude": latitude})
        assert page.status_code == 400
        assert page.context["form"].errors["latitude"]
    assert client.get(reverse("star_wheel"), {"paper": "a0"}).status_code == 400
