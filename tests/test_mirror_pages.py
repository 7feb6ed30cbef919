"""Mirrors on their pages: what is drawn and said, what is refused in words, and what stays back."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from django.urls import reverse

from archive.access import decisions, writing
from archive.access.gate import Gate
from archive.models import Account, Audience, House, Item, Level, Mirror
from archive.sky import lay_mirror, load_catalogue
from archive.views.mirrors import drawing, measured, pages, saying

from .browser import PHONE, fits, reads_well
from .conftest import called, open_up

pytestmark = pytest.mark.django_db

EMBERS = (80816, 81693, 83207, 84380, 81833)
SPOTS = ((45.97, -38.10), (46.03, -38.06), (46.02, -38.01), (46.05, -37.97), (46.09, -38.03))


@dataclass
class Shore:
    """Five places, a figure of their stars and one more, and the mirror that joins them; all open."""

    council: Account
    places: list[Item]
    figure: Item
    mirror: Mirror

    def page(self, client, question: str = "") -> str:
        return client.get(reverse("mirror", args=[self.mirror.ref]) + question).content.decode()

    def close(self, item: Item, level: Level) -> None:
        family = [Audience.objects.get(name="family")]
        terms = decisions.Terms(family, others_see=level, notice_words="Ask us.", whom_to_ask="The council.")
        open_up(self.council, item, terms=terms)


@pytest.fixture
def shore(cast) -> Shore:
    House.objects.update_or_create(pk=1, defaults={"language": "en", "name": "A house"})
    places = [
        writing.add_place(None, called(f"Place {at}"), latitude_deg=latitude, longitude_deg=longitude)
        for at, (latitude, longitude) in enumerate(SPOTS, 1)
    ]
    lines = [[*EMBERS, 84379]]
    figure = writing.add_figure(None, called("The Kiln"), stars=lines[0], lines=lines)
    mirror = writing.add_mirror(None, figure, list(zip(places, EMBERS, strict=True)), title="The five fires")
    open_up(cast["council"], *places, figure, mirror)
    return Shore(cast["council"], places, figure, mirror)


# --- what is drawn and said ---


def test_the_page_draws_both_and_tells_how_far_each_star_falls(shore, client) -> None:
    page = shore.page(client)
    for words in ("On the ground", "In the sky", "laid over the ground", "The elder’s word is the evidence",
                  "in 120", "to a degree of sky", "from north through east"):
        assert words in page, words
    laid = lay_mirror(*zip(*SPOTS, strict=True), EMBERS, float(Gate(None).moment.year))
    for length, angle in zip(laid.residuals_km, laid.residuals_deg, strict=True):
        assert saying.miss(length, angle) in page
    assert page.count("<polyline") == 4  # on the ground, in the sky, laid over, and the years


def test_a_year_is_taken_and_a_wrong_one_is_refused_in_words(shore, client) -> None:
    assert "2801 BCE" in shore.page(client, "?year=-2800")
    page = shore.page(client, "?year=99999")
    assert "Give a year between them" in page
    assert "laid over the ground" in page


def test_the_figures_line_stops_at_a_star_that_is_no_place(shore) -> None:
    pairs = [(at, hip) for at, hip in enumerate(EMBERS)]
    spots = drawing.np.zeros((5, 2))
    held = [type("Pair", (), {"hip": hip}) for _, hip in pairs]
    assert len(drawing._runs(held, spots, [[EMBERS[0], EMBERS[1], 84379, EMBERS[2], EMBERS[3]]])) == 2
    assert drawing._runs(held, spots, [[EMBERS[0], 84379, EMBERS[1]]]) == []


def test_few_pairs_make_no_claim(cast, client) -> None:
    places = [
        writing.add_place(None, called(f"P{at}"), latitude_deg=latitude, longitude_deg=longitude)
        for at, (latitude, longitude) in enumerate(SPOTS[:4])
    ]
    figure = writing.add_figure(None, called("Kiln"), stars=list(EMBERS), lines=[])
    made = {}
    for count in (2, 3, 4):
        pairs = list(zip(places[:count], EMBERS, strict=False))
        made[count] = writing.add_mirror(None, figure, pairs, title=f"of {count}")
    open_up(cast["council"], *places, figure, *made.values())
    said = {count: client.get(reverse("mirror", args=[one.ref])).content.decode() for count, one in made.items()}
    assert "Two places always fit two stars" in said[2]
    assert "With 3 pairs chance fits well too often" in said[3]
    assert "With 4 pairs chance fits well too often" in said[4]
    assert not any("were tried" in page or "drawn, give" in page for page in said.values())


def test_places_on_one_spot_are_refused_in_words_and_the_pairs_stay(cast, client) -> None:
    places = [writing.add_place(None, called(name), latitude_deg=46.0, longitude_deg=-38.0) for name in ("A", "B")]
    figure = writing.add_figure(None, called("Kiln"), stars=list(EMBERS), lines=[])
    mirror = writing.add_mirror(None, figure, list(zip(places, EMBERS, strict=False)), title="One spot")
    open_up(cast["council"], *places, figure, mirror)
    page = client.get(reverse("mirror", args=[mirror.ref])).content.decode()
    assert "The places all lie on one spot" in page
    assert "HIP 81693" in page
    assert "Off by" not in page


def test_the_page_of_nine_pairs_tries_every_pairing(cast, client) -> None:
    """Common practice has no better than all of them; 9! = 362,880."""
    stars = load_catalogue()
    hips = [int(hip) for hip in stars.hip[stars.brighter(4.0)][:9]]
    found = measured.measure(tuple((46 + at % 3 / 10, -38 + at / 30, hip) for at, hip in enumerate(hips)), 2000.0)
    assert found.by_pairing is not None
    assert (found.by_pairing.is_exact, found.by_pairing.tried) == (True, 362_880)


# --- what stays back ---


@pytest.mark.parametrize("level", [Level.NOTHING, Level.NOTICE, Level.DESCRIPTION])
def test_a_closed_place_takes_its_pair_away_or_the_whole_fit(shore, client, level) -> None:
    before = shore.page(client)
    shore.close(shore.places[0], level)
    page = shore.page(client)
    assert "80816" in before
    assert "80816" not in page
    if level == Level.DESCRIPTION:  # it is known that there is such a place: no star of the others leads to it
        assert "is not shown to you exactly" in page
        assert not re.search(r"HIP \d|Off by|<polyline", page)
    else:
        assert "is not shown to you exactly" not in page
        assert "With 4 pairs" in page


def test_the_fit_without_a_place_is_that_of_a_mirror_that_never_had_it(shore, client, cast) -> None:
    shore.close(shore.places[0], Level.NOTHING)
    pairs = list(zip(shore.places[1:], EMBERS[1:], strict=True))
    twin = writing.add_mirror(None, shore.figure, pairs, title="The five fires")
    open_up(cast["council"], twin)
    other = client.get(reverse("mirror", args=[twin.ref])).content.decode()
    assert shore.page(client).replace(shore.mirror.ref, "") == other.replace(twin.ref, "")


@pytest.mark.parametrize("level", [Level.NOTHING, Level.NOTICE, Level.DESCRIPTION])
def test_a_closed_figure_tells_no_star_by_its_mirror(shore, client, level) -> None:
    shore.close(shore.figure, level)
    page = shore.page(client)
    assert not re.search(r"HIP \d|<polyline", page)


def test_a_star_that_is_no_place_here_is_not_laid_on_the_ground(shore) -> None:
    """It would tell where a place may be that nobody may know of."""
    shown = pages.fitted([], None, 2000)
    assert shown == {}
    found = measured.measure(tuple((*spot, hip) for spot, hip in zip(SPOTS, EMBERS, strict=True)), 2000.0)
    assert len(found.laid.stars_km) == len(SPOTS)


# --- trying ---


def tried(client, *places: Item, **more: str) -> str:
    question = "&".join([f"place={one.ref}" for one in places] + [f"{key}={value}" for key, value in more.items()])
    return client.get(f"{reverse('try_mirror')}?{question}").content.decode()


def test_pairings_are_proposed_and_the_best_is_the_one_that_was_told(shore, client) -> None:
    page = tried(client, *shore.places, figure=shore.figure.ref)
    first = re.search(r'<ol class="proposals"><li><p><a href="([^"]+)"', page)
    assert first
    best = client.get(first[1].replace("&amp;", "&")).content.decode()
    assert "laid over the ground" in best
    assert "chose its stars and its pairing anew" in best


@pytest.mark.parametrize(("count", "more", "words"), [
    (1, {"stars": "80816+81693"}, "at least two places"),
    (3, {"stars": "80816+81693"}, "Too few stars are known: 2 for 3 places"),
    (3, {"stars": "nonsense"}, "Too few stars are known: 0 for 3 places"),
    (5, {"stars": "+".join(str(hip) for hip in (*EMBERS, 677, 1067, 3092, 3179, 4427, 5447, 6686, 7588))}, "ways"),
])
def test_what_cannot_be_tried_is_refused_in_words(shore, client, count, more, words) -> None:
    page = tried(client, *shore.places[:count], **more)
    if words == "ways":
        assert "Pairings that fit best" in page  # 13 stars and 5 places: 154,440 ways
    else:
        assert words in page


def test_only_what_is_met_in_full_can_be_chosen(shore, client) -> None:
    shore.close(shore.places[0], Level.DESCRIPTION)
    shore.close(shore.figure, Level.DESCRIPTION)
    page = tried(client, *shore.places, figure=shore.figure.ref)
    for words in (shore.places[0].ref, "Place 1", shore.figure.ref, "HIP 8"):
        assert words not in page
    assert "Too few stars are known: 0 for 4 places" in page


# --- in a browser ---


@pytest.mark.browser
def test_the_pages_read_well_and_ask_no_other_host(shore, visit) -> None:
    chosen = "&".join(f"place={one.ref}" for one in shore.places)
    for address in (
        reverse("mirror", args=[shore.mirror.ref]), f"{reverse('try_mirror')}?{chosen}&figure={shore.figure.ref}",
        reverse("threads", args=["mirror", shore.mirror.ref]), reverse("tellings", args=["figure", shore.figure.ref]),
    ):
        page = visit(address, on=PHONE)
        reads_well(page)
        assert fits(page)
