"""Sky: where stars, sun, moon and planets stand for any place and year, and charts of it.

Pure numpy and ERFA; no Django.  This is the front door: import from here, not from the modules behind it.

    chart       draw_chart(ChartRequest(place, jd_ut, kind="zenith"|"pole", figures=[FigureDrawing(...)]))
                gives SVG text; chart_css() gives its style sheet; figures_up(request) what stands above
    time        parse_time("2025-06-21T22:30:00Z") gives the jd_ut that everything else takes;
                format_time and format_date turn one back; local_moment(...) makes one from a clock on a wall
    places      star_places, pole, pole_path, nearest_to_pole, star_altaz, body_altaz
    wobble      figure_wobble (when a pole stands inside a figure), turn_years (how long a whole turn takes)
    horizon     star_crossing, body_crossing (rise, set, culmination); star_almanac, evening_hours (long tables)
    skyline     read_skyline(text); star_passage, figure_passages, body_passage (over hills, and through air);
                turns (how far north and south a body goes in a year)
    seasons     star_phases (first and last nights); sun_dates (days the sun has a declination);
                like_night (the night of another year, in days since the solstice)
    a year      year_bands({key: [hip, ...]}, place, 2025): evenings, midnights and mornings a figure is up;
                figure_years(same): those and first and last nights, hours, best evening months, solstices
    a night     tonight(place, parse_date("2025-06-21"), {key: [hip, ...]}) in plain data and codes
    ground      read_bearing (what a bearing points at); lay_mirror (stars laid on places), chance_of_pairing,
                chance_of_places, chance_of_stars, propose_pairings, chance_of_search, through_years
    command     verbs.answer({...}) gives what ``manage.py sky`` prints

Conventions: azimuth from north through east; longitudes east positive; years astronomical (0 exists);
dates Julian before 1582-10-15; looking up, east is left when north is up.  Errors are SkyError, in words
for people.
"""

from .altaz import Place, body_altaz, refraction_of_apparent, refraction_of_true, star_altaz
from .bearings import Bearing, BearingMatch, read_bearing, sun_dates
from .bodies import BODIES
from .catalogue import Catalogue, StarName, load_catalogue
from .chance import Chance, Field, Pairing, field_of
from .chance import by_pairing as chance_of_pairing
from .chance import by_places as chance_of_places
from .chance import by_stars as chance_of_stars
from .chance import propose as propose_pairings
from .chance import searched as chance_of_search
from .chart import ChartRequest, ChartWords, FigureDrawing, draw_chart, figure_stars, figures_up
from .chartcss import chart_css
from .errors import SkyError
from .figureyear import FigureYear, YearOfFigures, days_since_solstice, figure_years
from .frames import NearStar, Pole, nearest_to_pole, pole, pole_path
from .horizon import Crossing, StarAlmanac, body_crossing, evening_hours, rise_azimuth_deg, star_almanac, star_crossing
from .likenight import LikeNight, like_night
from .mirror import FEWEST_FOR_A_CLAIM, Fit, Laid, places_on_map, stars_on_chart
from .mirror import lay as lay_mirror
from .mirroryears import Years, through_years
from .passages import (
    Event,
    FigurePassage,
    Passage,
    body_passage,
    figure_passages,
    star_passage,
    turn_passage,
)
from .phases import Phases, star_phases
from .places import FRAMES, star_places
from .skyline import LineProblem, Skyline, SkylineError, read_skyline
from .times import CalendarDate, calendar_date, format_date, format_time, local_moment, parse_date, parse_time
from .tonight import FigureTonight, Night, tonight
from .turns import Turn, turn_azimuths_deg, turns
from .wobble import FigureWobble, NearestToPole, figure_wobble, turn_years
from .yearband import YearBand, year_bands

__all__ = [
    "BODIES",
    "FEWEST_FOR_A_CLAIM",
    "FRAMES",
    "Bearing",
    "BearingMatch",
    "CalendarDate",
    "Catalogue",
    "Chance",
    "ChartRequest",
    "ChartWords",
    "Crossing",
    "Event",
    "Field",
    "FigureDrawing",
    "FigurePassage",
    "FigureTonight",
    "FigureWobble",
    "FigureYear",
    "Fit",
    "Laid",
    "LikeNight",
    "LineProblem",
    "NearStar",
    "NearestToPole",
    "Night",
    "Pairing",
    "Passage",
    "Phases",
    "Place",
    "Pole",
    "SkyError",
    "Skyline",
    "SkylineError",
    "StarAlmanac",
    "StarName",
    "Turn",
    "YearBand",
    "YearOfFigures",
    "Years",
    "body_altaz",
    "body_crossing",
    "body_passage",
    "calendar_date",
    "chance_of_pairing",
    "chance_of_places",
    "chance_of_search",
    "chance_of_stars",
    "chart_css",
    "days_since_solstice",
    "draw_chart",
    "evening_hours",
    "field_of",
    "figure_passages",
    "figure_stars",
    "figure_wobble",
    "figure_years",
    "figures_up",
    "format_date",
    "format_time",
    "lay_mirror",
    "like_night",
    "load_catalogue",
    "local_moment",
    "nearest_to_pole",
    "parse_date",
    "parse_time",
    "places_on_map",
    "pole",
    "pole_path",
    "propose_pairings",
    "read_bearing",
    "read_skyline",
    "refraction_of_apparent",
    "refraction_of_true",
    "rise_azimuth_deg",
    "star_almanac",
    "star_altaz",
    "star_crossing",
    "star_passage",
    "star_phases",
    "star_places",
    "stars_on_chart",
    "sun_dates",
    "through_years",
    "tonight",
    "turn_azimuths_deg",
    "turn_passage",
    "turn_years",
    "turns",
    "year_bands",
]
