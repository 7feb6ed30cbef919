"""Sky: where stars, sun, moon and planets stand for any place and year, and charts of it.

Pure numpy and ERFA; no Django.  This is the front door: import from here, not from the modules behind it.

    chart       draw_chart(ChartRequest(place, jd_ut, kind="zenith"|"pole", figures=[FigureDrawing(...)]))
                gives SVG text; chart_css() gives its style sheet; figures_up(request) what stands above
    time        parse_time("2025-06-21T22:30:00Z") gives the jd_ut that everything else takes;
                format_time and format_date turn one back; local_moment(...) makes one from a clock on a wall
    places      star_places, pole, pole_path, nearest_to_pole, star_altaz, body_altaz

Conventions: azimuth from north through east; longitudes east positive; years astronomical (0 exists);
dates Julian before 1582-10-15; looking up, east is left when north is up.  Errors are SkyError, in words
for people.
"""

from .altaz import Place, body_altaz, refraction_of_apparent, refraction_of_true, star_altaz
from .bodies import BODIES
from .catalogue import Catalogue, StarName, load_catalogue
from .chart import ChartRequest, ChartWords, FigureDrawing, chart_css, draw_chart, figure_stars, figures_up
from .errors import SkyError
from .frames import FRAMES, NearStar, Pole, nearest_to_pole, pole, pole_path, star_places
from .times import CalendarDate, calendar_date, format_date, format_time, local_moment, parse_date, parse_time

__all__ = [
    "BODIES",
    "FRAMES",
    "CalendarDate",
    "Catalogue",
    "ChartRequest",
    "ChartWords",
    "FigureDrawing",
    "NearStar",
    "Place",
    "Pole",
    "SkyError",
    "StarName",
    "body_altaz",
    "calendar_date",
    "chart_css",
    "draw_chart",
    "figure_stars",
    "figures_up",
    "format_date",
    "format_time",
    "load_catalogue",
    "local_moment",
    "nearest_to_pole",
    "parse_date",
    "parse_time",
    "pole",
    "pole_path",
    "refraction_of_apparent",
    "refraction_of_true",
    "star_altaz",
    "star_places",
]
