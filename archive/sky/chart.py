"""Charts of the sky as SVG: pure drawing, no scripts, nothing fetched, the same text for the same request.

``draw_chart(ChartRequest(...))`` is the door.  Looking up, east is left when north is up (see
``projection``).  Colours live in CSS: without any, all is drawn in the text colour on nothing, which prints
well.  Put ``chart_css()`` into the page's style sheet, or ask for ``standalone`` to have it inside the file.
Themes are classes on the root: ``skychart-light``, ``skychart-dark``, ``skychart-red`` (for eyes used to the
dark).  All words come from ``ChartWords`` so that a caller can translate them.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from .altaz import Place
from .bodies import BODIES, PLANETS, apparent_direction, are_known, moon_phase
from .catalogue import Catalogue, load_catalogue
from .chartcss import chart_css
from .errors import SkyError
from .frames import celestial_pole, ecliptic_matrix, obliquity
from .milkyway import STRIPS, band_edges
from .places import apparent_vectors
from .projection import Sky, View, arcs, horizon_circle, horizontal, make_view, project, project_horizontal, sky_at
from .times import format_time, jd_of_epoch, tt_of_ut
from .vectors import DEGREE, Flags, Floats, Ints, as_floats, rotate_back, unit

THEMES = ("light", "dark", "red")
_SCALE = 440.0
_BOX = 500.0
_HREF = re.compile(r"(?:/(?!/)|#|\?|\./|https?://)[^\s]*", re.IGNORECASE)
_LANG = re.compile(r"[A-Za-z0-9]+(?:-[A-Za-z0-9]+)*")
_IDENT = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


@dataclass(frozen=True)
class FigureDrawing:
    """A sky figure as plain data: lines between stars by Hipparcos number, and stars on their own.

    ``label_lang`` is a BCP 47 tag (may be empty); ``href`` an address on this site or an http(s) one, or
    empty.
    """

    name: str
    label_lang: str = ""
    lines: Sequence[tuple[int, int]] = ()
    stars: Sequence[int] = ()
    href: str = ""


@dataclass(frozen=True)
class ChartWords:
    """Every fixed word on a chart, in English; pass translated ones."""

    north: str = "N"
    east: str = "E"
    south: str = "S"
    west: str = "W"
    horizon: str = "Horizon"
    milky_way: str = "Milky Way"
    pole_path: str = "Path of the celestial pole"
    title_pole: str = "Sky around the celestial pole"
    title_zenith: str = "Whole sky, looking up"
    looking_up: str = "Drawn as seen looking up: with north at the top, east is on the left."
    figures_up: str = "Figures with a star above the horizon:"
    no_figures_up: str = "None of the figures has a star above the horizon."
    latitude: str = "Latitude"
    longitude: str = "longitude"
    like_night: str = "stars of the year"
    year: Callable[[int], str] = str
    bodies: dict[str, str] = field(default_factory=lambda: {name: name.capitalize() for name in BODIES})


@dataclass(frozen=True)
class ChartRequest:
    """What to draw.

    ``jd_ut`` is the instant (Julian date, universal time; ``times.parse_time``).  ``year`` (astronomical, -10000
    to 10000) shows the like night of another year instead: same distance from the solstice, same hour by the
    sun; sun, moon and planets are then left out.  ``v_limit`` is the faintest magnitude drawn,
    ``name_limit`` the faintest star named.  ``pole_path`` gives first year, last year and spacing of dots
    (pole charts only).  ``ident`` must differ between charts on one page.  Empty ``title`` and ``description``
    are filled in English from ``words``.
    """

    place: Place
    jd_ut: float
    kind: str = "zenith"
    year: int | None = None
    figures: Sequence[FigureDrawing] = ()
    v_limit: float = 5.0
    name_limit: float = 1.5
    milky_way: bool = True
    bodies: bool = True
    circles: bool = True
    pole_path: tuple[int, int, int] | None = None
    theme: str = "light"
    ident: str = "skychart"
    title: str = ""
    description: str = ""
    words: ChartWords = field(default_factory=ChartWords)
    standalone: bool = False


def _num(value: float) -> str:
    """One decimal, never "-0.0" (byte-identical output does not depend on the sign of zero)."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text


def scaled(page: Floats) -> Floats:
    """From the unit disc to the chart's own units, 1000 wide."""
    return page * _SCALE + _BOX


def _path(points: Floats, close: bool = False) -> str:
    return "M" + "L".join(f"{_num(x)} {_num(y)}" for x, y in points.tolist()) + ("Z" if close else "")


def _broken_path(points: Floats, shown: Flags) -> str:
    """A path through the points that are shown, lifted where they are not."""
    parts: list[str] = []
    pen = False
    for (x, y), up in zip(points.tolist(), shown.tolist(), strict=True):
        if up:
            parts.append(f"{'L' if pen else 'M'}{_num(x)} {_num(y)}")
        pen = bool(up)
    return "".join(parts)


def _tag(name: str, body: str, **attributes: str) -> str:
    """An element; attribute names use ``_`` for ``-`` and a trailing ``_`` is dropped."""
    inner = "".join(f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"' for key, value in attributes.items())
    return f"<{name}{inner}>{body}</{name}>" if body else f"<{name}{inner}/>"


def _text(words: str, x: float, y: float, css: str, **more: str) -> str:
    return _tag("text", escape(words), class_=css, x=_num(x), y=_num(y), **more)


# --- layers, from back to front -------------------------------------------------------------------------


def _within_rim(page: Floats) -> Floats:
    """Points beyond the rim drawn back to it, so that a band ends at the rim."""
    return page / np.maximum(np.hypot(page[..., 0], page[..., 1]), 1.0)[..., None]


def _milky_layer(view: View, words: ChartWords) -> str:
    parts = []
    for share in STRIPS:
        (upper, up_in), (lower, low_in) = (project(view, edge) for edge in band_edges(share))
        quads = _within_rim(np.stack([upper[:-1], upper[1:], lower[1:], lower[:-1]], axis=1))
        shown = up_in[:-1] | up_in[1:] | low_in[1:] | low_in[:-1]
        outline = "".join(_path(scaled(quad), close=True) for quad in quads[shown])
        if outline:
            parts.append(f'<path class="sc-milky" fill-opacity=".1" d="{outline}"/>')
    return _tag("g", _tag("title", escape(words.milky_way)) + "".join(parts)) if parts else ""


def _circle_layer(view: View) -> str:
    """The celestial equator and the ecliptic of date."""
    around = unit(as_floats(np.arange(0, 361, 3)) * DEGREE, 0.0)
    parts = []
    for back in (view.sky.matrix, ecliptic_matrix(view.sky.year)):
        points, shown = project(view, rotate_back(back, around))
        path = _broken_path(scaled(points), shown)
        parts.append(f'<path class="sc-circle" fill="none" stroke="currentColor" d="{path}"/>' if path else "")
    return "".join(parts)


def _hue(b_v: Floats) -> Ints:
    """Five colour classes by B-V: blue-white, white, cream, yellow, orange (common practice, no source)."""
    return np.digitize(b_v, [-0.02, 0.3, 0.7, 1.2]).astype(np.int64)


def _radius(v_mag: Floats) -> Floats:
    """Dot radius: area falls by half per magnitude, never below 0.8 (chosen for print)."""
    return np.maximum(6.6 * 10 ** (-0.15 * (v_mag + 1.5)), 0.8)


@dataclass(frozen=True)
class _Lights:
    """The apparent directions (k, 3) of all stars that figures use, computed once; ``hips`` is sorted."""

    hips: Ints
    directions: Floats

    def of(self, hips: list[int]) -> Floats:
        return self.directions[np.searchsorted(self.hips, hips)]


def _figure_lights(figures: Iterable[FigureDrawing], sky: Sky) -> _Lights:
    hips = np.array(sorted({hip for figure in figures for hip in figure_stars(figure)}), dtype=np.int64)
    if not len(hips):
        return _Lights(hips, np.zeros((0, 3)))
    stars = load_catalogue()
    return _Lights(hips, apparent_vectors(stars, stars.indices(hips), float(jd_of_epoch(sky.year))))


def _star_layer(view: View, stars: Catalogue, request: ChartRequest) -> str:
    rows = stars.brighter(request.v_limit)
    points, shown = project(view, apparent_vectors(stars, rows, float(jd_of_epoch(view.sky.year))))
    points, rows = scaled(points[shown]), rows[shown]
    hues, radii = _hue(stars.b_v[rows]), _radius(stars.v_mag[rows])
    groups = []
    for hue in range(5):
        mine = hues == hue
        dots = "".join(f'<circle cx="{_num(x)}" cy="{_num(y)}" r="{_num(r)}"/>'
                       for (x, y), r in zip(points[mine].tolist(), radii[mine].tolist(), strict=True))
        groups.append(f'<g class="sc-star sc-hue{hue}">{dots}</g>' if dots else "")
    named = stars.v_mag[rows] <= request.name_limit
    return "".join(groups) + _star_labels(stars, points[named], rows[named], radii[named])


def _star_labels(stars: Catalogue, points: Floats, rows: Ints, radii: Floats) -> str:
    """Names of stars, brightest first; a name that would fall on an earlier one is left out."""
    taken: list[tuple[float, float]] = []
    labels = []
    for (x, y), row, r in zip(points.tolist(), rows.tolist(), radii.tolist(), strict=True):
        hip = int(stars.hip[row])
        if hip in stars.names and not any(abs(x - a) < 60 and abs(y - b) < 12 for a, b in taken):
            taken.append((x, y))
            labels.append(_text(stars.label(hip), x + r + 3, y + 4, "sc-label"))
    return "".join(labels)


def _check_figure(figure: FigureDrawing) -> None:
    if figure.href and not _HREF.fullmatch(figure.href):
        raise SkyError(f"The link {figure.href!r} of the figure {figure.name!r} is not an address on this site "
                       "or an http(s) one.")
    if figure.label_lang and not _LANG.fullmatch(figure.label_lang):
        raise SkyError(f"The language {figure.label_lang!r} of the figure {figure.name!r} is not a BCP 47 tag.")


def figure_stars(figure: FigureDrawing) -> list[int]:
    """Every Hipparcos number a figure uses, sorted, each once."""
    return sorted({int(hip) for line in figure.lines for hip in line} | {int(hip) for hip in figure.stars})


def _figure(view: View, lights: _Lights, figure: FigureDrawing) -> str:
    _check_figure(figure)
    hips = figure_stars(figure)
    if not hips:
        return ""
    fixed = lights.of(hips)
    points, shown = project(view, fixed)
    if not shown.any():
        return ""
    parts = [_tag("title", escape(figure.name)), _figure_lines(view, fixed, hips, figure)]
    points = scaled(points)
    ringed = [hips.index(int(hip)) for hip in figure.stars]
    parts += [f'<circle class="sc-ring" fill="none" stroke="currentColor" cx="{_num(points[i, 0])}" '
              f'cy="{_num(points[i, 1])}" r="9"/>' for i in sorted(set(ringed)) if shown[i]]
    x, y = points[shown].mean(axis=0)
    language = {"lang": figure.label_lang} if figure.label_lang else {}
    parts.append(_text(figure.name, float(x), float(y) - 14, "sc-name", text_anchor="middle", **language))
    body = "".join(parts)
    return _tag("a", _tag("g", body), href=figure.href) if figure.href else _tag("g", body)


def _figure_lines(view: View, fixed: Floats, hips: list[int], figure: FigureDrawing) -> str:
    if not figure.lines:
        return ""
    ends = np.array([[hips.index(int(a)), hips.index(int(b))] for a, b in figure.lines])
    points, shown = project(view, arcs(fixed[ends[:, 0]], fixed[ends[:, 1]]))
    path = "".join(_broken_path(p, s) for p, s in zip(scaled(points), shown, strict=True))
    return f'<path class="sc-line" fill="none" stroke="currentColor" d="{path}"/>' if path else ""


def _horizon_layer(view: View, words: ChartWords) -> str:
    rim = f'<circle class="sc-rim" fill="none" stroke="currentColor" cx="500" cy="500" r="{_num(_SCALE)}"/>'
    parts = [rim]
    if view.kind == "pole":
        points, shown = project_horizontal(view, horizon_circle())
        edge = scaled(points)
        if shown.all():
            around = f"M{_num(_BOX - _SCALE)} 500a{_num(_SCALE)} {_num(_SCALE)} 0 1 0 {_num(2 * _SCALE)} 0" \
                     f"a{_num(_SCALE)} {_num(_SCALE)} 0 1 0 {_num(-2 * _SCALE)} 0Z"
            parts.append(f'<path class="sc-below" fill-rule="evenodd" fill-opacity=".06" d="{around}'
                         f'{_path(edge, close=True)}"/>')
        parts.append(_tag("g", _tag("title", escape(words.horizon)) + (
            f'<path class="sc-horizon" fill="none" stroke="currentColor" d="{_broken_path(edge, shown)}"/>')))
    return "".join(parts) + _compass(view, words)


def _compass(view: View, words: ChartWords) -> str:
    """Letters for the four directions, set just outside the horizon and kept on the page."""
    quarters = horizon_circle(step_deg=90)[:4]
    points, _ = project_horizontal(view, quarters)
    length = np.maximum(np.hypot(points[:, 0], points[:, 1]), 1e-6)[:, None]
    outward = scaled(points * np.minimum(1.0 + 0.07 / length, 1.09 / length))
    letters = (words.north, words.east, words.south, words.west)
    return "".join(_text(letter, float(x), float(y) + 8, "sc-point", text_anchor="middle")
                   for letter, (x, y) in zip(letters, outward.tolist(), strict=True))


def _body_layer(view: View, request: ChartRequest) -> str:
    jd_tt = float(tt_of_ut(request.jd_ut))
    if request.year is not None or not are_known(jd_tt):
        return ""
    parts = []
    for body in ("sun", "moon", *PLANETS):
        point, shown = project(view, apparent_direction(body, jd_tt)[0])
        if not shown:
            continue
        x, y = scaled(point).tolist()
        name = request.words.bodies.get(body, body)
        if body == "moon":
            name = f"{name} {float(moon_phase(jd_tt)[0]) * 100:.0f} %"
        radius = "9" if body in ("sun", "moon") else "4.5"
        parts.append(f'<circle class="sc-body sc-{body}" cx="{_num(x)}" cy="{_num(y)}" r="{radius}"/>'
                     + _text(name, x + 12, y + 4, "sc-label"))
    return "".join(parts)


def _turn_circle(view: View) -> str:
    """The circle about the ecliptic pole of date that the pole is on in this year, and a cross in its middle."""
    sign = -1.0 if view.sky.lat < 0 else 1.0
    back = ecliptic_matrix(view.sky.year)
    angle = sign * (np.pi / 2 - float(obliquity(view.sky.year)))
    around, middle = unit(as_floats(np.arange(0, 361, 3)) * DEGREE, angle), np.array([0.0, 0.0, sign])
    points, shown = project(view, rotate_back(back, around))
    path = _broken_path(scaled(points), shown)
    page, is_on = project(view, rotate_back(back, middle))
    x, y = scaled(page).tolist()
    mark = f"M{_num(x - 6)} {_num(y)}h12M{_num(x)} {_num(y - 6)}v12" if is_on else ""
    return f'<path class="sc-turn" fill="none" stroke="currentColor" d="{path}{mark}"/>'


def _path_layer(view: View, request: ChartRequest) -> str:
    if request.pole_path is None or view.kind != "pole":
        return ""
    first, last, step = request.pole_path
    if step <= 0 or last < first or (last - first) / step > 400:
        raise SkyError("The pole's path needs a first year, a later last year and a spacing of some years, "
                       "with at most 400 dots.")
    south = view.sky.lat < 0
    points, shown = project(view, celestial_pole(np.linspace(first, last, 241), south))
    parts = [_turn_circle(view), _tag("title", escape(request.words.pole_path)),
             f'<path class="sc-path" fill="none" stroke="currentColor" d="{_broken_path(scaled(points), shown)}"/>']
    years = np.arange(first, last + 1, step)
    points, shown = project(view, celestial_pole(years.astype(float), south))
    for year, (x, y) in zip(years[shown].tolist(), scaled(points[shown]).tolist(), strict=True):
        parts.append(f'<circle class="sc-path-dot" cx="{_num(x)}" cy="{_num(y)}" r="3"/>'
                     + _text(request.words.year(year), x + 5, y - 4, "sc-path-year"))
    return _tag("g", "".join(parts))


# --- words and frame ------------------------------------------------------------------------------------


def figures_up(request: ChartRequest) -> list[FigureDrawing]:
    """The figures that have at least one star above the true horizon at the request's moment."""
    sky = sky_at(request.place, request.jd_ut, request.year)
    return _figures_up(sky, _figure_lights(request.figures, sky), request.figures)


def _figures_up(sky: Sky, lights: _Lights, figures: Iterable[FigureDrawing]) -> list[FigureDrawing]:
    return [figure for figure in figures
            if (horizontal(sky, lights.of(figure_stars(figure)))[:, 2] > 0).any()]


def _where_and_when(request: ChartRequest) -> str:
    words, place = request.words, request.place
    when = format_time(request.jd_ut)
    year = "" if request.year is None else f", {words.like_night} {words.year(request.year)}"
    return (f"{words.latitude} {place.lat_deg:.2f}\N{DEGREE SIGN}, {words.longitude} {place.lon_deg:.2f}"
            f"\N{DEGREE SIGN}, {when}{year}.")


def _description(request: ChartRequest, sky: Sky, lights: _Lights) -> str:
    if request.description:
        return request.description
    parts = [_where_and_when(request), request.words.looking_up]
    if request.figures:
        up = _figures_up(sky, lights, request.figures)
        parts.append(f"{request.words.figures_up} {', '.join(f.name for f in up)}." if up
                     else request.words.no_figures_up)
    return " ".join(parts)


def _check_request(request: ChartRequest) -> None:
    if request.theme not in THEMES:
        raise SkyError(f"The theme {request.theme!r} is not known. Choose one of: {', '.join(THEMES)}.")
    if not _IDENT.fullmatch(request.ident):
        raise SkyError(f"The chart's ident {request.ident!r} must be a letter followed by letters, digits, - or _.")
    if not np.isfinite(request.jd_ut):
        raise SkyError("The chart's moment is not a number.")


def _head(request: ChartRequest, sky: Sky, lights: _Lights) -> str:
    words, ident = request.words, escape(request.ident)
    title = request.title or (words.title_pole if request.kind == "pole" else words.title_zenith)
    style = _tag("style", chart_css()) if request.standalone else ""
    return (f'<title id="{ident}-title">{escape(title)}</title>'
            f'<desc id="{ident}-desc">{escape(_description(request, sky, lights))}</desc>{style}')


def draw_chart(request: ChartRequest) -> str:
    """One chart as an SVG element, 1000 x 1000 units, ready to stand in a page or a file.

    Its role is "img"; where figures carry links it is "group", since an "img" would hide them from a screen
    reader.  Title and description name it in both cases.
    Raises SkyError for an unknown star, year, kind, theme or a link that is not plain.
    """
    _check_request(request)
    sky, stars = sky_at(request.place, request.jd_ut, request.year), load_catalogue()
    view, lights = make_view(request.kind, sky), _figure_lights(request.figures, sky)
    layers = [
        _milky_layer(view, request.words) if request.milky_way else "",
        _circle_layer(view) if request.circles else "",
        _star_layer(view, stars, request),
        _path_layer(view, request),
        *(_figure(view, lights, figure) for figure in request.figures),
        _body_layer(view, request) if request.bodies else "",
        _horizon_layer(view, request.words),
    ]
    ident = escape(request.ident)
    role = "group" if any(figure.href for figure in request.figures) else "img"
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1000 1000" role="{role}" '
            f'class="skychart skychart-{request.theme}" aria-labelledby="{ident}-title {ident}-desc">'
            f"{_head(request, sky, lights)}{''.join(layers)}</svg>")
