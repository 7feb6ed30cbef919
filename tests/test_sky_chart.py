"""Charts: what lies where, words for those who cannot see, nothing unescaped, the same text every time."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.sky import (
    ChartRequest,
    ChartWords,
    FigureDrawing,
    Place,
    SkyError,
    chart_css,
    draw_chart,
    figure_stars,
    figures_up,
    load_catalogue,
    parse_time,
    star_altaz,
)
from archive.sky.altaz import body_hour_angle
from archive.sky.bodies import solar_longitude
from archive.sky.frames import star_vectors
from archive.sky.projection import horizon_circle, make_view, project, project_horizontal, sky_at
from archive.sky.times import tt_of_ut
from archive.sky.vectors import DEGREE, wrap

SVG = "{http://www.w3.org/2000/svg}"
NIGHT = parse_time("2025-01-15T22:30:00Z")
NORTH, SOUTH = Place(46, -38), Place(-35, -38)
FIGURE = FigureDrawing("The Net", "qse-x-senneth", lines=[(27989, 25336), (25336, 24436)], stars=[32349])
REQUEST = ChartRequest(NORTH, NIGHT, figures=(FIGURE,))


def _root(request: ChartRequest) -> ET.Element:
    return ET.fromstring(draw_chart(request))


@pytest.mark.parametrize("kind", ["zenith", "pole"])
@pytest.mark.parametrize("place", [NORTH, SOUTH, Place(0, 0), Place(90, 0), Place(-90, 0)])
@pytest.mark.parametrize("year", [None, -10000, 0, 10000])
def test_well_formed_and_finite_everywhere(kind: str, place: Place, year: int | None) -> None:
    text = draw_chart(replace(REQUEST, kind=kind, place=place, year=year, pole_path=(-10000, 10000, 2000)))
    root = ET.fromstring(text)
    assert root.get("viewBox") == "0 0 1000 1000"
    assert "nan" not in text
    assert "inf" not in text
    assert "-0.0" not in text
    assert "<script" not in text


def test_same_request_same_bytes() -> None:
    assert draw_chart(REQUEST) == draw_chart(replace(REQUEST))


def test_named_and_described() -> None:
    # W3C SVG 2, accessibility: role, title and desc, tied by aria-labelledby
    root = _root(REQUEST)
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert desc is not None
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert "east is on the left" in (desc.text or "")
    assert "The Net" in (desc.text or "")


def test_links_are_reachable() -> None:
    # WAI-ARIA 1.2: the children of "img" are hidden from assistive technology, so a chart with links is a "group"
    root = _root(replace(REQUEST, figures=(replace(FIGURE, href="/figures/net/"),)))
    assert root.get("role") == "group"
    assert [link.get("href") for link in root.iter(f"{SVG}a")] == ["/figures/net/"]


def test_words_can_be_translated_and_language_is_marked() -> None:
    words = ChartWords(north="Nord", east="Ost", title_zenith="Der ganze Himmel")
    root = _root(replace(REQUEST, words=words))
    texts = {element.text: element for element in root.iter(f"{SVG}text")}
    assert {"Nord", "Ost", "The Net"} <= set(texts)
    assert texts["The Net"].get("lang") == "qse-x-senneth"
    assert root.findtext(f"{SVG}title") == "Der ganze Himmel"


def test_looking_up_east_is_left() -> None:
    # geometry of looking up (not down, as on a map)
    for kind in ("zenith", "pole"):
        for place, top in ((NORTH, "north"), (SOUTH, "north" if kind == "zenith" else "south")):
            view = make_view(kind, sky_at(place, NIGHT))
            north, east, south, west = project_horizontal(view, horizon_circle(step_deg=90)[:4])[0]
            left, right = (east, west) if top == "north" else (west, east)
            assert left[0] < right[0]
            upper, lower = (north, south) if top == "north" else (south, north)
            assert upper[1] < lower[1]


@pytest.mark.parametrize("place", [NORTH, SOUTH])
def test_zenith_chart_is_altitude_and_azimuth(place: Place) -> None:
    hips = [27989, 32349, 24436, 21421]
    view = make_view("zenith", sky_at(place, NIGHT))
    stars = load_catalogue()
    points, _ = project(view, star_vectors(stars, stars.indices(hips), 2025.04))
    altitude, azimuth = star_altaz(hips, place, NIGHT)
    away, turn = (90 - altitude) / 90, azimuth * DEGREE
    expected = np.stack([-away * np.sin(turn), -away * np.cos(turn)], axis=-1)
    assert points == pytest.approx(expected, abs=3e-4)  # aberration and its like: 0.01 degree of 90


def test_pole_chart_keeps_distances_from_the_pole() -> None:
    view = make_view("pole", sky_at(NORTH, NIGHT, 2000))
    stars = load_catalogue()
    fixed = star_vectors(stars, stars.indices([11767, 54061, 32349]), 2000.0)
    points, shown = project(view, fixed)
    polar = np.hypot(points[:, 0], points[:, 1]) * view.rim / DEGREE
    assert shown.all()
    assert polar == pytest.approx([90 - 89.264, 90 - 61.751, 90 + 16.716], abs=0.01)  # J2000 declinations


def test_like_night_of_another_year_has_the_same_sun() -> None:
    now, then = sky_at(NORTH, NIGHT), sky_at(NORTH, NIGHT, 2025)
    assert now.sidereal == pytest.approx(then.sidereal, abs=0.01 * DEGREE)
    assert now.matrix == pytest.approx(then.matrix, abs=1e-4)


def test_like_night_is_a_true_night_of_that_year() -> None:
    """A real instant of -2800 with the same sun, found through the calendar, shows the same sky (0.01 degree)."""
    wanted = float(solar_longitude(NIGHT + 69 / 86400))
    jd = parse_time("-2800-02-08T12:00:00Z")
    for _ in range(5):
        jd += float(wrap(wanted - float(solar_longitude(float(tt_of_ut(jd)))))) / (2 * np.pi) * 365.2422
    hour = float(body_hour_angle("sun", NIGHT, 46 * DEGREE, -38 * DEGREE)[0])
    shift = float(wrap(hour - float(body_hour_angle("sun", jd, 46 * DEGREE, 0.0)[0]))) / DEGREE
    real, like = sky_at(Place(46, shift), jd), sky_at(NORTH, NIGHT, -2800)
    assert real.year == pytest.approx(-2800, abs=1)
    assert float(wrap(real.sidereal - like.sidereal)) == pytest.approx(0, abs=0.01 * DEGREE)
    assert real.matrix == pytest.approx(like.matrix, abs=4e-4)  # a few months of precession, and nutation


def test_stars_outside_the_zenith_chart_are_not_drawn() -> None:
    low = FigureDrawing("Below", lines=[(60718, 61084)], stars=[])
    root = _root(replace(REQUEST, figures=(low,), name_limit=-2))
    assert "Below" not in {element.text for element in root.iter(f"{SVG}text")}
    assert figures_up(replace(REQUEST, figures=(low, FIGURE))) == [FIGURE]


def test_magnitude_limit() -> None:
    few, many = (draw_chart(replace(REQUEST, v_limit=limit)).count("<circle") for limit in (2.0, 5.0))
    assert few < 60 < 300 < many


def test_themes_and_style() -> None:
    assert 'class="skychart skychart-red"' in draw_chart(replace(REQUEST, theme="red"))
    assert "<style" not in draw_chart(REQUEST)
    assert "<style" in draw_chart(replace(REQUEST, standalone=True))
    assert "@media print" in chart_css()
    assert "#" not in draw_chart(REQUEST).replace("&#", "")  # no colour outside the style sheet


HOSTILE = '"><script>alert(1)</script><x y=\'"&'


def test_everything_is_escaped() -> None:
    figure = FigureDrawing(HOSTILE, "en", lines=[(27989, 25336)], stars=[24436], href='/x?a="&b=<c>')
    words = ChartWords(north=HOSTILE, milky_way=HOSTILE, title_zenith=HOSTILE, bodies={"moon": HOSTILE})
    text = draw_chart(replace(REQUEST, figures=(figure,), words=words, description=HOSTILE))
    assert "<script" not in text
    assert ET.fromstring(text).findtext(f"{SVG}desc") == HOSTILE


@settings(max_examples=30, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"), max_size=30))
def test_any_name_survives(name: str) -> None:
    request = replace(REQUEST, figures=(FigureDrawing(name, stars=[27989]),), milky_way=False, v_limit=0)
    texts = [element.text or "" for element in _root(request).iter(f"{SVG}text")]
    assert name in texts


@pytest.mark.parametrize("href", ["javascript:alert(1)", "//elsewhere.example/x", "data:text/html,x", " /x", "/a b"])
def test_strange_links_are_refused(href: str) -> None:
    with pytest.raises(SkyError, match="link"):
        draw_chart(replace(REQUEST, figures=(replace(FIGURE, href=href),)))


@pytest.mark.parametrize(("change", "words"), [
    ({"kind": "map"}, "kind"), ({"theme": "pink"}, "theme"), ({"year": 20000}, "year"), ({"ident": '"x'}, "ident"),
    ({"jd_ut": float("nan")}, "moment"), ({"figures": (FigureDrawing("F", stars=[1]),)}, "HIP 1"),
    ({"figures": (FigureDrawing("F", "x y", stars=[27989]),)}, "BCP 47"),
    ({"kind": "pole", "pole_path": (0, -5, 1)}, "path")])
def test_bad_requests_are_refused_in_words(change: dict[str, object], words: str) -> None:
    with pytest.raises(SkyError, match=words):
        draw_chart(replace(REQUEST, **change))  # type: ignore[arg-type]


def test_figure_stars_are_listed_once() -> None:
    assert figure_stars(FIGURE) == [24436, 25336, 27989, 32349]
    assert "" not in [f.name for f in figures_up(replace(REQUEST, figures=(FigureDrawing(""),)))]


def test_pole_path_is_drawn_with_its_years() -> None:
    root = _root(replace(REQUEST, kind="pole", pole_path=(-4000, 4000, 2000)))
    labels = {element.text for element in root.iter(f"{SVG}text")}
    assert {"-4000", "-2000", "0", "2000", "4000"} <= labels
