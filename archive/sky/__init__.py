"""Sky: where stars, sun, moon and planets stand for any place and year, and charts of it.

Pure numpy and ERFA; no Django.  This is the front door: import from here, not from the modules behind it.

    chart       draw_chart(ChartRequest(place, jd_ut, kind="zenith"|"pole", figures=[FigureDrawing(...)]))
                gives SVG text; chart_css() gives its style sheet; figures_up(request) what stands above
    time        parse_time("2025-06-21T22:30:00Z") gives the jd_ut that everything else takes;
                format_time and format_date turn one back; local_moment(...) makes one from a clock on a wall
    places      star_places, pole, pole_path, nearest_to_pole, star_altaz, body_altaz
    horizon     star_crossing, body_crossing (rise, set, culmination); star_almanac, evening_hours (long tables)
    seasons     star_phases (first and last nights); sun_dates (days the sun has a declination);
                like_night (the night of another year, in days since the solstice)
    a year      year_bands({key: [hip, ...]}, place, 2025): evenings, midnights and mornings a figure is up
    a night     tonight(place, parse_date("2025-06-21"), {key: [hip, ...]}) in plain data and codes
    ground      read_bearing (what a bearing points at); match_mirror, places_on_map, stars_on_chart
    command     verbs.answer({...}) gives what ``manage.py sky`` prints

Conventions: azimuth from north through east; longitudes east positive; years astronomical (0 exists);
dates Julian before 1582-10-15; looking up, east is left when north is up.  Errors are SkyError, in words
for people.
"""

from .altaz import Place, body_altaz, refraction_of_apparent, refraction_of_true, star_altaz
from .bearings import Bearing, BearingMatch, read_bearing, sun_dates
from .bodies import BODIES
from .catalogue import Catalogue, StarName, load_catalogue
from .chart import ChartRequest, ChartWords, FigureDrawing, chart_css, draw_chart, figure_stars, figures_up
from .errors import SkyError
from .frames import NearStar, Pole, nearest_to_pole, pole, pole_path
from .horizon import Crossing, StarAlmanac, body_crossing, evening_hours, rise_azimuth_deg, star_almanac, star_crossing
from .likenight import LikeNight, like_night
from .mirror import MirrorMatch, places_on_map, stars_on_chart
from .mirror import match as match_mirror
from .phases import Phases, star_phases
from .places import FRAMES, star_places
from .times import CalendarDate, calendar_date, format_date, format_time, local_moment, parse_date, parse_time
from .tonight import FigureTonight, Night, stars_up, tonight
from .yearband import YearBand, year_bands

__all__ = [
    "BODIES",
    "FRAMES",
    "Bearing",
    "BearingMatch",
    "CalendarDate",
    "Catalogue",
    "ChartRequest",
    "ChartWords",
    "Crossing",
    "FigureDrawing",
    "FigureTonight",
    "LikeNight",
    "MirrorMatch",
    "NearStar",
    "Night",
    "Phases",
    "Place",
    "Pole",
    "SkyError",
    "StarAlmanac",
    "StarName",
    "YearBand",
    "body_altaz",
    "body_crossing",
    "calendar_date",
    "chart_css",
    "draw_chart",
    "evening_hours",
    "figure_stars",
    "figures_up",
    "format_date",
    "format_time",
    "like_night",
    "load_catalogue",
    "local_moment",
    "match_mirror",
    "nearest_to_pole",
    "parse_date",
    "parse_time",
    "places_on_map",
    "pole",
    "pole_path",
    "read_bearing",
    "refraction_of_apparent",
    "refraction_of_true",
    "rise_azimuth_deg",
    "star_almanac",
    "star_altaz",
    "star_crossing",
    "star_phases",
    "star_places",
    "stars_on_chart",
    "stars_up",
    "sun_dates",
    "tonight",
    "year_bands",
]
