"""The star wheel on paper: a PDF at true size, to be cut out (geometry: ``archive.sky.wheel``).

Pure drawing: it is given what may be drawn. The same request gives the same bytes: the date of making is fixed and
nothing is fetched; letters come from the two fonts beside this file.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
from django.utils.translation import gettext as _
from fontTools.ttLib import TTFont
from fpdf import FPDF
from fpdf.enums import TextMode

from ..sky import FigureDrawing, figure_stars, load_catalogue, wheel
from ..sky.frames import star_vectors
from ..sky.projection import arcs
from ..sky.times import calendar_date, julian_day
from ..sky.vectors import Floats
from ..sky.wheel import Face

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
RIM_MM, DATES_MM, HOURS_MM, SKY_MM = 97.0, 86.0, 79.0, 74.0
"""Radii: the disc's edge, where the mask ends and the dates begin, the inside of the hours, the stars."""
PIN_MM = 1.2
ARM_MM, ARM_REACH_MM, ARM_HOURS = 14.0, 7.0, (8, 12, 16)
V_LIMIT, NAME_LIMIT = 4.2, 1.0
RULER_MM = 100.0
INK, SOFT, FAINT, FIGURE = (0, 0, 0), (90, 90, 90), (165, 165, 165), (20, 75, 130)
PAPER = (255, 255, 255)
BAND_GREYS = (240, 230, 220)
MADE = datetime(2000, 1, 1, tzinfo=UTC)
FONTS = Path(__file__).parent / "fonts"
Spot = Sequence[float] | Floats
TEXT, MORE = "undersky-text", "dejavu"
FILES = {TEXT: FONTS / "undersky-text-regular.ttf", MORE: FONTS / "DejaVuSans.ttf"}


@dataclass(frozen=True)
class WheelAsked:
    """What to draw. `clock_ahead_h`: how far the clock that people read is ahead of the place's mean solar time.

    `clock_words` says which clock that is; `months` are twelve short names.
    """

    lat_deg: float
    year: int
    figures: Sequence[FigureDrawing] = ()
    paper: str = "a4"
    clock_ahead_h: float = 0.0
    clock_words: str = ""
    months: Sequence[str] = ()
    title: str = ""
    cautions: Sequence[str] = ()


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    """Every character that one of the two fonts has a shape for."""
    found: set[int] = set()
    for path in FILES.values():
        with TTFont(path, lazy=True) as font:
            found |= set(font.getBestCmap())
    return frozenset(found)


def without_shapes(text: str) -> str:
    """The characters of a text that would come out as boxes."""
    return "".join(one for one in _plain(text) if ord(one) not in _letters() and not one.isspace())


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text)


# --- the pen ---


class _Sheet:
    """A page with the wheel's middle as origin: x right, y down, millimetres."""

    def __init__(self, pdf: FPDF, paper: str) -> None:
        self.pdf = pdf
        self.width, self.height = PAPERS[paper]
        pdf.add_page()
        self.middle = (self.width / 2, 7.0 + RIM_MM)

    def at(self, x: float, y: float) -> tuple[float, float]:
        return self.middle[0] + x, self.middle[1] + y

    def circle(self, radius: float, width: float = 0.3, x: float = 0.0, y: float = 0.0, fill: bool = False) -> None:
        self.pdf.set_line_width(width)
        self.pdf.circle(*self.at(x, y), radius, style="F" if fill else "D")

    def line(self, start: Spot, stop: Spot, width: float = 0.2) -> None:
        self.pdf.set_line_width(width)
        self.pdf.line(*self.at(start[0], start[1]), *self.at(stop[0], stop[1]))

    def run(self, points: Floats, width: float = 0.2, close: bool = False) -> None:
        self.pdf.set_line_width(width)
        spots = [self.at(x, y) for x, y in points.tolist()]
        (self.pdf.polygon if close else self.pdf.polyline)(spots, style="D")

    def ink(self, colour: tuple[int, int, int]) -> None:
        self.pdf.set_draw_color(*colour)
        self.pdf.set_fill_color(*colour)
        self.pdf.set_text_color(*colour)

    def words(self, text: str, x: float, y: float, up: Sequence[float] = (0.0, -1.0), size_pt: float = 8.0,
              halo: bool = False) -> None:
        """Text with its middle at a point, its letters standing toward `up`; a halo keeps lines out of it."""
        pdf, plain = self.pdf, _plain(text)
        pdf.set_font(TEXT, size=size_pt)
        left, base = self.at(x, y)
        turn = float(np.degrees(np.arctan2(-up[0], -up[1])))
        start = (left - pdf.get_string_width(plain) / 2, base + size_pt * 0.12)
        with pdf.rotation(turn, left, base):
            if halo:
                with pdf.local_context(text_mode=TextMode.STROKE, line_width=0.9, draw_color=PAPER):
                    pdf.text(*start, plain)
            pdf.text(*start, plain)

    def dashes(self, on: bool) -> None:
        self.pdf.set_dash_pattern(dash=2 if on else 0, gap=1.2 if on else 0)


def _spoke(sheet: _Sheet, face: Face, hour_angle: float, inner: float, outer: float, width: float = 0.2) -> None:
    there = wheel.at_angle(face, np.asarray(hour_angle), 1.0)
    sheet.line(there * inner, there * outer, width)


def _on_ring(sheet: _Sheet, face: Face, hour_angle: float, radius: float, text: str, size_pt: float) -> None:
    """Words on a ring, standing outward: upright at the top of the wheel, where the hours of the night are."""
    there = wheel.at_angle(face, np.asarray(hour_angle), 1.0)
    x, y = (there * radius).tolist()
    sheet.words(text, x, y, up=there.tolist(), size_pt=size_pt)


# --- the disc ---


def _draw_disc(sheet: _Sheet, face: Face, asked: WheelAsked) -> None:
    sheet.ink(INK)
    _milky_way(sheet, face)
    _lines_of_the_sky(sheet, face)
    _figures(sheet, face, asked)
    taken = _stars(sheet, face, asked)
    _figure_names(sheet, face, asked, taken)
    _dates(sheet, face, asked)
    sheet.ink(INK)
    sheet.circle(SKY_MM, 0.25)
    sheet.circle(DATES_MM, 0.2)
    _pin(sheet)
    sheet.circle(RIM_MM, 0.5)


def _pin(sheet: _Sheet) -> None:
    sheet.ink(INK)
    sheet.circle(PIN_MM, 0.2)
    for across, down in ((1, 0), (0, 1)):
        sheet.line((-3 * across, -3 * down), (3 * across, 3 * down), 0.15)


def _milky_way(sheet: _Sheet, face: Face) -> None:
    for grey, pieces in zip(BAND_GREYS, wheel.milky_way_on_disc(face), strict=True):
        sheet.ink((grey, grey, grey))
        sheet.pdf.set_line_width(0.1)
        for piece in pieces * SKY_MM:
            sheet.pdf.polygon([sheet.at(x, y) for x, y in piece.tolist()], style="DF")


def _lines_of_the_sky(sheet: _Sheet, face: Face) -> None:
    sheet.ink(FAINT)
    sheet.circle(SKY_MM * (np.pi / 2) / face.reach, 0.15)
    sheet.dashes(True)
    for part in wheel.ecliptic_on_disc(face):
        sheet.run(part * SKY_MM, 0.15)
    sheet.dashes(False)


def _figures(sheet: _Sheet, face: Face, asked: WheelAsked) -> None:
    stars = load_catalogue()
    sheet.ink(FIGURE)
    for figure in asked.figures:
        if not figure.lines:
            continue
        ends = star_vectors(stars, stars.indices([hip for line in figure.lines for hip in line]), float(face.year))
        for way in arcs(ends[0::2], ends[1::2]):
            for part in wheel.line_on_disc(face, way):
                sheet.run(part * SKY_MM, 0.35)


def _radius_mm(v_mag: float) -> float:
    """Dot radius: area falls by half a magnitude; the faintest still print."""
    return max(1.35 * 10 ** (-0.15 * (v_mag + 1.5)), 0.22)


def _stars(sheet: _Sheet, face: Face, asked: WheelAsked) -> list[tuple[float, float]]:
    """Draws the stars and the names of the brightest; gives the places of these names."""
    stars = load_catalogue()
    own = sorted({hip for figure in asked.figures for hip in figure_stars(figure)})
    hips, places, magnitudes = wheel.stars_on_disc(face, V_LIMIT, own)
    sheet.ink(INK)
    named: list[tuple[float, float]] = []
    for (x, y), v_mag in zip((places * SKY_MM).tolist(), magnitudes.tolist(), strict=True):
        sheet.circle(_radius_mm(v_mag), 0.1, x, y, fill=True)
    for hip, (x, y), v_mag in zip(hips.tolist(), (places * SKY_MM).tolist(), magnitudes.tolist(), strict=True):
        if v_mag <= NAME_LIMIT and hip in stars.names:
            spot, up = _beside(x, y, 2.6)
            sheet.words(stars.label(hip), spot[0], spot[1], up=up, size_pt=5.0, halo=True)
            named.append(spot)
    return named


def _beside(x: float, y: float, gap: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """A place further out than a point, and the way to the middle: words there stand upright when they are low."""
    away = max(float(np.hypot(x, y)), 1e-6)
    outward = (x / away, y / away)
    far = away + gap if away + gap < SKY_MM - 1.5 else away - gap
    return (outward[0] * far, outward[1] * far), (-outward[0], -outward[1])


def _figure_names(sheet: _Sheet, face: Face, asked: WheelAsked, taken: list[tuple[float, float]]) -> None:
    sheet.ink(FIGURE)
    for figure in asked.figures:
        hips = figure_stars(figure)
        found, places, _magnitudes = wheel.stars_on_disc(face, -9.0, hips)
        if not len(found):
            continue
        if not figure.lines:
            for x, y in (places * SKY_MM).tolist():
                sheet.circle(2.0, 0.3, x, y)
        x, y = (places.mean(axis=0) * SKY_MM).tolist()
        spot, up = _free(x, y, taken)
        taken.append(spot)
        sheet.words(figure.name, spot[0], spot[1], up=up, size_pt=7.5, halo=True)


def _free(x: float, y: float, taken: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], tuple[float, float]]:
    """The first place along the way out and in again that no other name has."""
    for gap in (3.5, -3.5, 6.5, -6.5, 9.5, -9.5):
        spot, up = _beside(x, y, gap)
        if not any(np.hypot(spot[0] - a, spot[1] - b) < 4.0 for a, b in taken):
            return spot, up
    return _beside(x, y, 3.5)


def _dates(sheet: _Sheet, face: Face, asked: WheelAsked) -> None:
    sheet.ink(INK)
    days = np.arange(wheel.DAYS)
    for day, angle in zip(days.tolist(), wheel.date_angles(face, days.astype(float)).tolist(), strict=True):
        number = calendar_date(julian_day(2001, 1, 1) + day)[0].day
        length = 5.5 if number == 1 else 2.6 if number % 5 == 0 and number < 30 else 1.4
        _spoke(sheet, face, angle, DATES_MM, DATES_MM + length, 0.25 if number == 1 else 0.15)
        if number in (10, 20):
            _on_ring(sheet, face, angle, DATES_MM + 4.4, str(number), 5.5)
    leap = float(wheel.date_angles(face, np.asarray(wheel.FEBRUARY_29_AT)))
    x, y = wheel.at_angle(face, np.asarray(leap), DATES_MM + 3.6).tolist()
    sheet.circle(0.35, 0.1, x, y, fill=True)
    for month in range(12):
        middle = julian_day(2001, month + 1, 15) - julian_day(2001, 1, 1)
        angle = float(wheel.date_angles(face, np.asarray(middle)))
        _on_ring(sheet, face, angle, DATES_MM + 8.3, asked.months[month] if asked.months else str(month + 1), 9.0)


# --- the mask ---


def _draw_mask(sheet: _Sheet, face: Face, asked: WheelAsked) -> None:
    sheet.ink(INK)
    _arms(sheet, face)
    sheet.circle(DATES_MM, 0.5)
    sheet.circle(HOURS_MM, 0.2)
    _hours(sheet, face, asked)
    sheet.dashes(True)
    sheet.run(wheel.window(face) * SKY_MM, 0.4, close=True)
    sheet.dashes(False)
    _directions(sheet, face)
    x, y = (wheel.window(face).mean(axis=0) * SKY_MM).tolist()
    sheet.ink(SOFT)
    sheet.words(_("Window: cut it out along the broken line"), x, y, size_pt=9.0)


def _arms(sheet: _Sheet, face: Face) -> None:
    """Three arms at hours of the day, which nobody reads, to glue the mask over the disc."""
    for hour in ARM_HOURS:
        angle = float(wheel.hour_angles(np.asarray(float(hour)), 0.0))
        out = wheel.at_angle(face, np.asarray(angle), 1.0)
        side = np.array([-out[1], out[0]]) * ARM_MM / 2
        near, far = out * np.sqrt(DATES_MM**2 - (ARM_MM / 2) ** 2), out * (RIM_MM + ARM_REACH_MM)
        sheet.run(np.stack([near - side, far - side, far + side, near + side]), 0.5)
        sheet.ink(SOFT)
        x, y = (out * (RIM_MM + ARM_REACH_MM / 2 + 0.5)).tolist()
        sheet.words(_("glue here"), x, y, up=(-out).tolist(), size_pt=5.0)
        sheet.ink(INK)


def _hours(sheet: _Sheet, face: Face, asked: WheelAsked) -> None:
    for quarter in range(96):
        angle = float(wheel.hour_angles(np.asarray(quarter / 4), asked.clock_ahead_h))
        length = 2.6 if quarter % 4 == 0 else 1.8 if quarter % 2 == 0 else 1.1
        _spoke(sheet, face, angle, DATES_MM - length, DATES_MM, 0.25 if quarter % 4 == 0 else 0.15)
        if quarter % 4 == 0:
            _on_ring(sheet, face, angle, DATES_MM - 4.6, str(quarter // 4), 8.0)


def _directions(sheet: _Sheet, face: Face) -> None:
    """The eight directions along the window, each standing toward the middle of the window."""
    names = (_("N"), _("NE"), _("E"), _("SE"), _("S"), _("SW"), _("W"), _("NW"))
    zenith = wheel.at_angle(face, np.asarray(0.0), (np.pi / 2 - face.lat) / face.reach)
    for at, name in enumerate(names):
        place, is_inside = wheel.direction_on_mask(face, at * 45.0)
        if not is_inside:
            continue
        toward = (zenith - place) / max(float(np.hypot(*(zenith - place))), 1e-6)
        x, y = (place * SKY_MM - toward * (2.7 if at % 2 == 0 else 2.3)).tolist()
        sheet.words(name, x, y, up=toward.tolist(), size_pt=11.0 if at % 2 == 0 else 7.0)


# --- words below, and the sheet of them ---


def _foot(sheet: _Sheet, title: str, lines: Sequence[str], asked: WheelAsked) -> None:
    pdf, top = sheet.pdf, sheet.middle[1] + RIM_MM + 11.0
    sheet.ink(INK)
    pdf.set_xy(12, top)
    _paragraph(pdf, title, 12.0)
    for line in (*lines, *asked.cautions):
        _paragraph(pdf, line, 8.0)
    _ruler(sheet, sheet.height - 13.0)


def _paragraph(pdf: FPDF, text: str, size_pt: float, gap_mm: float = 0.8) -> None:
    pdf.set_font(TEXT, size=size_pt)
    pdf.set_x(12)
    pdf.multi_cell(pdf.w - 24, size_pt * 0.48, _plain(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_y(pdf.get_y() + gap_mm)


def _ruler(sheet: _Sheet, y: float) -> None:
    """A line of 100 mm to check the print by."""
    pdf, left = sheet.pdf, (sheet.width - RULER_MM) / 2
    sheet.ink(INK)
    pdf.set_line_width(0.3)
    pdf.line(left, y, left + RULER_MM, y)
    for mm in range(0, int(RULER_MM) + 1, 5):
        pdf.line(left + mm, y, left + mm, y - (3.5 if mm % 50 == 0 else 2.5 if mm % 10 == 0 else 1.5))
    pdf.set_font(TEXT, size=7)
    words = _plain(_("This line is 100 mm long. If not, print again at actual size, without fitting to the page."))
    pdf.text((sheet.width - pdf.get_string_width(words)) / 2, y + 4.0, words)


def _latitude(lat_deg: float) -> str:
    size = f"{abs(lat_deg):.1f}"
    return _("%(degrees)s° north") % {"degrees": size} if lat_deg >= 0 else _("%(degrees)s° south") % {"degrees": size}


def _face_words(face: Face, count: int) -> str:
    if count == 1:
        return ""
    return _("the southern half of the sky") if face.south else _("the northern half of the sky")


def _disc_lines() -> list[str]:
    return [
        _("Cut along the outer line. Push a paper fastener or a pin through the cross: it is the pole, about which "
          "all turns."),
        _("The dot between 28 February and 1 March is 29 February. The grey band is the Milky Way, the circle the "
          "celestial equator, the broken line the path of sun, moon and planets."),
    ]


def _how_to_make(count: int) -> list[str]:
    steps = [
        _("Print at actual size (100 %, no fitting to the page) and check the line of 100 mm with a ruler."),
        _("Glue the disc and the mask on stiff paper. Cut out both along their outer lines, the mask with its three "
          "arms, and cut the window out of the mask along its broken line."),
        _("Take a square of card, 210 mm a side. Pin the disc to its middle through the cross, so that it turns."),
        _("Lay the mask over the disc so that its round edge runs evenly inside the ring of dates. Glue its three arms "
          "to the card beyond the disc. The disc must still turn."),
    ]
    if count == 2:
        steps.append(_("So near the equator there are two wheels: make both, back to back on one card. Use the "
                       "northern when you face north and the southern when you face south."))
    return steps


def _how_to_use(asked: WheelAsked, face: Face) -> list[str]:
    level = f"{np.degrees(face.altitude) * 60:.0f}".replace("-", "−")
    steps = [
        _("Turn the disc until tonight's date stands against the hour. The stars in the window are those above the "
          "horizon now."),
        _("Hold it up before you. Whichever way you face, turn the whole wheel until that direction's letters are at "
          "the bottom and upright. The letters are as seen looking up: with north at the top, east is on the left."),
        _("Hours: %(clock)s") % {"clock": asked.clock_words},
        _("It is drawn for latitude %(latitude)s and the stars of %(year)d. One degree of latitude further matters "
          "little, five degrees want a wheel of their own.") % {
              "latitude": _latitude(asked.lat_deg), "year": asked.year},
        _("The edge of the window is a level horizon, with the air's usual lift taken in (true altitude %(level)s′). "
          "What rises behind a hill rises later. The wheel's turn is good to %(degrees)s° or %(minutes)d minutes.") % {
              "level": level, "degrees": f"{wheel.TOLERANCE_DEG:g}", "minutes": round(wheel.TOLERANCE_DEG * 4)},
        _("Sun, moon and planets wander and are not drawn."),
    ]
    return steps


def _draw_guide(pdf: FPDF, asked: WheelAsked, found: Sequence[Face]) -> None:
    pdf.add_page()
    pdf.set_text_color(*INK)
    pdf.set_xy(12, 14)
    _paragraph(pdf, asked.title or _("Star wheel"), 18.0, 2.0)
    for heading, steps in ((_("Making it"), _how_to_make(len(found))),
                           (_("Using it"), _how_to_use(asked, found[0]))):
        _paragraph(pdf, heading, 13.0, 1.0)
        for at, step in enumerate(steps, 1):
            _paragraph(pdf, f"{at}.  {step}", 10.5, 1.6)
        pdf.set_y(pdf.get_y() + 3)
    for caution in asked.cautions:
        _paragraph(pdf, caution, 10.5, 1.6)


def draw_wheel(asked: WheelAsked) -> bytes:
    """The PDF: a disc and a mask for each face, then how to make and use it. SkyError for what cannot be drawn."""
    found = wheel.faces(asked.lat_deg, asked.year)
    pdf = _blank(asked)
    for face in found:
        told = " · ".join(filter(None, (asked.title or _("Star wheel"), _face_words(face, len(found)),
                                        _latitude(asked.lat_deg))))
        _page(pdf, asked, face, _draw_disc, _("Disc: %(what)s") % {"what": told}, _disc_lines())
        lines = [_("Cut along the outer line, arms and all, and cut out the window."), asked.clock_words]
        _page(pdf, asked, face, _draw_mask, _("Mask: %(what)s") % {"what": told}, lines)
    _draw_guide(pdf, asked, found)
    return bytes(pdf.output())


def _page(pdf: FPDF, asked: WheelAsked, face: Face, draw: Callable[[_Sheet, Face, WheelAsked], None], title: str,
          lines: Sequence[str]) -> None:
    sheet = _Sheet(pdf, asked.paper)
    draw(sheet, face, asked)
    _foot(sheet, title, lines, asked)


def _blank(asked: WheelAsked) -> FPDF:
    pdf = FPDF(unit="mm", format=PAPERS[asked.paper])
    pdf.set_auto_page_break(False)
    pdf.set_margins(12, 10, 12)
    pdf.set_creation_date(MADE)
    pdf.set_title(asked.title or _("Star wheel"))
    for family, file in FILES.items():
        pdf.add_font(family, fname=file)
    pdf.set_fallback_fonts([MORE])
    pdf.set_font(TEXT, size=9)
    return pdf
