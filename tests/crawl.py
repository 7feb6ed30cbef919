"""A crawl of every address, as one viewer: what came back, byte for byte, but for what may differ between two times.

A NEW PAGE goes into ROUTES below, by the name of its address; the leak test fails until it is there. Say which kind
of thing its `<str:ref>` stands for, which questions (`?…`) it can be asked, and what can be posted to it. In these,
`{ref:KEY}` stands for the address of a thing of the plan, and `{word:KEY:PART}` for a canary of it.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from itertools import product
from typing import Any

from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils.http import parse_http_date

from .twin import LANGUAGE, NOW, canary, kind_of
from .twin_town import LOOKING, WINTER_REF, Town, clock

HTMX = {"HX-Request": "true"}
RANGES = tuple({"Range": asked} for asked in ("bytes=0-99", "bytes=-50", "bytes=400-", "bytes=999999999-"))
NEVER = ("zzzzzzzzzzzz", "'")


@dataclass(frozen=True)
class Route:
    """How one address is crawled. `of`: the kind that `<str:ref>` stands for. `posts`: fields, as `a=1&b=2`."""

    of: str = ""
    asks: tuple[str, ...] = ("",)
    headers: tuple[dict[str, str], ...] = ({},)
    posts: tuple[str, ...] = ("",)


PAGED = ("", "?page=2", "?page=999", "?page=x")
LIST = Route(asks=PAGED, headers=({}, HTMX))
HIDDEN = ("undecided", "audience", "notice", "described", "tied")
ABOUT = ("", "?about={ref:fig-open}", *(f"?about={{ref:{kind}-{way}}}" for kind in ("top", "fig") for way in HIDDEN))
MAPPED = (
    *ABOUT, "?page=2", "?figure={ref:fig-open}", "?topic={ref:top-open}&speaker={ref:per-open}",
    *(f"?{name}={{ref:{kind}-{way}}}" for name, kind in (("figure", "fig"), ("speaker", "per"), ("topic", "top"))
      for way in ("audience", "notice", "described")),
    "?season=x", f"?season={WINTER_REF}",
    "?nature={word:pla-audience:nature}", "?about={ref:per-open}", "?about={ref:rec-quiet}",
    "?about={ref:mir-open}", "?about={ref:pla-described}",
)

# The find page is asked for words that only hidden things have, for parts of them, and for things by their address.
WORDS = (
    *(f"{{word:{key}-{way}:name}}" for key in ("per", "top") for way in (*HIDDEN, "open")),
    *(f"{{word:{key}-audience:name}}" for key in ("pla", "fig")),
    *(f"{{word:seg-{way}:title}}" for way in ("audience", "notice", "byperson", "inaudience")),
    *(f"{{word:seg-{way}:cueen}}" for way in ("audience", "described", "mixed", "inconsent")),
    *(f"{{word:rec-{way}:title}}" for way in ("undecided", "consent", "described", "quiet")),
    "{word:rec-quiet:file}", "{word:rec-audience:circumstances}", "{word:spa-undecided:reason}",
    "{word:mir-audience:title}", "{word:per-audience:about}",
)
FIND = (
    "", "?q=", "?q=story", "?q=story&page=2", "?q=story&sort=newest", "?q=story&sort=oldest", "?q=stori", "?q=st*",
    "?q=zq*", "?q=zqper*", "?q=%22the+story%22", "?q=story+tide", "?q=-story", "?q=other", "?q=the&heard=1",
    "?q=story&since=1970&until=1975", "?q=story&until=1961", "?q=story&kind=recording", "?q=story&kind=segment",
    "?q=story&language=" + LANGUAGE, "?q=story&language=en", "?q=story&more=person", "?q=story&more=place",
    *(f"?q={word}" for word in WORDS),
    *(f"?q=story+{word}" for word in WORDS[:3]),
    *(f"?{kind}={{ref:{key}-{way}}}" for kind, key in
      (("person", "per"), ("place", "pla"), ("figure", "fig"), ("topic", "top")) for way in ("audience", "open")),
    *(f"?person={{ref:per-{way}}}" for way in ("undecided", "notice", "described", "tied")),
    *(f"?q=story&figure={ref}" for ref in NEVER),
    *(f"?q=sky:HIP+{hip}" for hip in (677, 3092, 4427, 6686, 9640, 11767, 99999999)), "?q=sky:story&sort=meant",
    *(f"?q=sky:{{word:fig-{way}:{part}}}" for way in ("open", "also", *HIDDEN) for part in ("name", "own")),
    "?q=sky:story&how=tied", "?q=sky:story&how=words&sort=recording", "?q=-sky:{word:fig-open:name}", "?q=sky:nothing",
    "?q=sky:{word:fig-open:name}+|+sky:{word:fig-audience:name}", "?q=sky:{word:fig-part:name}+story",
    "?q=sky:{word:fig-piece:name}",
    *(f"?q=near:46.{at},-38.{at},{km}km" for at, km in ((1, 5), (45, 12), (45, 30), (9, 60))),
    "?q=near:46.5,-38.5,900km",
    *(f"?q=near:{{word:pla-{way}:name}},20km" for way in ("open", "described", "audience", "undecided")),
    *(f"?q={aim}:{{word:per-{way}:name}}" for aim in ("who", "from") for way in ("open", "also", *HIDDEN)),
    "?q=when:1960s", "?q=when:1975~", "?q=when:1970/..", "?q=when:never", "?q=in:en", "?q=in:qse", "?q=season:now",
    "?q=season:winter", "?q=heard:story", "?sky=story",
    *(f"?q=heard:{{word:fig-{way}:name}}" for way in ("open", *HIDDEN)),
    *(f"?q=heard:{{word:per-{way}:name}}" for way in ("open", "audience", "undecided")),
    # A letter more than the canary: what is heard as something that nobody knows of.
    *(f"?q=heard:{{word:seg-{way}:cueen}}n" for way in ("also", "audience", "described", "byperson", "inconsent")),
)

# Places and figures of every way of hiding, chosen for a mirror.
CHOSEN = "&".join(f"place={{ref:pla-{way}}}" for way in ("open", "also", *HIDDEN))
TRIED = (
    "", f"?{CHOSEN}", *(f"?{CHOSEN}&figure={{ref:fig-{way}}}" for way in ("open", *HIDDEN)),
    f"?{CHOSEN}&stars=677+1067+3092+3179+4427+5447", "?place=x&figure=x&stars=x&year=x",
    "?place={ref:pla-open}&place={ref:pla-also}&place={ref:pla-described}&stars=677+1067+3092"
    "&star-{ref:pla-open}=677&star-{ref:pla-also}=1067&star-{ref:pla-described}=3092&year=-2000",
)

# Forms of the desk take names: those of hidden things must be taken as names that nobody has.
TYPED = "&".join(
    f"{name}={{word:{key}-{way}:own}}"
    for name, key in (("speakers", "per"), ("told_of", "per"), ("topics", "top"), ("places", "pla"), ("figures", "fig"))
    for way in ("audience", "undecided", "notice", "open")
)
NAMED = (
    "title=t&recorded_on=1960&language=en&version=1&name_text=zqperaudienceown&name_language=en&" + TYPED +
    "&learned_from={word:per-audience:own}&part_of={word:fig-audience:own}&broader={word:top-audience:own}"
    "&figure={word:fig-audience:own}"
)
MANY = (
    "do=bring&kept_table=file;title;recorded_on;speakers;places%0A"
    "a.wav;t;1960;{word:per-audience:own};{word:pla-audience:own}"
)
PLACED = "language=en&cell_deg=0.1&kept_table=name,latitude,longitude%0A{word:pla-audience:own},46,-38"
TIMES = "title=t&start=0&end=0.5&version=1&"
SEGMENT = (TIMES + TYPED, TIMES + "sure=on&" + TYPED, "cue=0-900")

BESIDE = ("en-undecided", "qs-undecided", "en-audience", "en-quiet")
TAKEN = "base=1&name-0-0-3=take&as-0-0-3={word:per-audience:own}&voice=0-0&voice-0-0={word:per-audience:own}"

MADE = ("person", "place", "figure", "topic", "mirror", "layer")

ROUTES: dict[str, Route] = {
    "home": Route(),
    "sign_in": Route(asks=("", "?next=/recordings/{ref:rec-audience}/"), posts=("username=plain&password=wrong",)),
    "sign_out": Route(),
    "account": Route(),
    "change_password": Route(),
    "recordings": LIST,
    "people": LIST,
    "places": LIST,
    "figures": LIST,
    "mirrors": LIST,
    "threads": Route(),
    "tellings": Route(asks=("", *(f"?one={{ref:seg-mixed}}&other={{ref:seg-{way}}}" for way in (
        "also", "last", "audience", "described", "inconsent", "clip")))),
    "try_mirror": Route(asks=TRIED),
    "topics": LIST,
    "layers": Route(),
    "layer": Route("layer"),
    "layer_geojson": Route("layer"),
    "recording": Route("recording", ("", "?page=2", "?t=1")),
    "segment": Route("segment", ("", "?t=1")),
    "person": Route("person", ("", "?page=2")),
    "place": Route("place", ("", "?page=2")),
    "figure": Route("figure", ("", "?page=2")),
    "mirror": Route("mirror", ("", "?year=-2000")),
    "topic": Route("topic", ("", "?page=2")),
    "recording_sound": Route("recording", headers=({}, *RANGES)),
    "segment_sound": Route("segment", headers=({}, *RANGES)),
    "recording_sound_ready": Route("recording"),
    "segment_sound_ready": Route("segment"),
    "recording_captions": Route("recording"),
    "segment_captions": Route("segment"),
    "find": Route(asks=FIND),
    "keep_search": Route(posts=(
        "", "asked=q%3Dstory", "asked=q%3Dsky%253A{word:fig-audience:name}", "asked=person%3D{ref:per-audience}")),
    "kept_searches": Route(),
    "kept_seen": Route(),
    "drop_kept": Route(),
    "suggest": Route(asks=("", "?q=s", "?q=zq", "?q=zqp", "?q=zqpera", *(f"?q={word}" for word in WORDS[:24]))),
    "map": Route(asks=MAPPED),
    "map_frame": Route(asks=ABOUT[:4]),
    "map_places": Route(asks=MAPPED),
    "map_tile": Route(),
    "map_place": Route("place", ("", "?figure={ref:fig-open}")),
    **{f"places_{form}": Route(asks=(*ABOUT, "?speaker={ref:per-open}")) for form in ("geojson", "kml", "csv")},
    "sky": Route(asks=("", "?kind=zenith&year=1000")),
    "sky_chart": Route(),
    "star_tapped": Route(asks=("", "?x=500&y=500", "?x=640&y=420&kind=zenith", "?x=-1&y=x")),
    "sky_year": Route(asks=("", "?year=-2800")),
    "sky_horizon": Route(asks=("", "?year=-2800"), posts=("profile=0,1%0A90,5&day=2026-06-21", "profile=x")),
    "draw_figure": Route(posts=("", NAMED, "preview=1&lines=11767+85822&" + NAMED, "look=1&star=polaris")),
    "redraw_figure": Route("figure", posts=(NAMED, "preview=1&lines=1")),
    "star_list": Route(),
    "bearings": Route(asks=(
        "", "?azimuth=53&altitude=1&tolerance=5&years=-2800+1000", "?azimuth=x&years=x&latitude=99",
        *(f"?from={{ref:pla-{way}}}&to={{ref:pla-also}}" for way in ("open", *HIDDEN)),
        *(f"?from={{ref:pla-open}}&to={{ref:pla-{way}}}" for way in HIDDEN))),
    "star_wheel": Route(asks=("", "?latitude=5&paper=letter", "?latitude=x")),
    "star_wheel_options": Route(),
    "tonight": Route(asks=("", "?day=2026-06-21")),
    "desk": Route(asks=("", "?brought={ref:rec-audience}", "?brought={ref:rec-undecided}", "?brought=x")),
    "desk_recording": Route("recording"),
    "edit": Route(posts=("", NAMED)),
    **{f"add_{kind}": Route(posts=("", NAMED)) for kind in MADE},
    **{f"edit_{kind}": Route(kind, posts=(NAMED,)) for kind in MADE},
    "cut": Route("recording", posts=(*SEGMENT, "from_ms=0&to_ms=900")),
    "edit_segment": Route("segment", posts=SEGMENT),
    "remove_segment": Route("segment"),
    "bring": Route(posts=("", NAMED)),
    "bring_places": Route(posts=("", PLACED, f"do=bring&{PLACED}")),
    "bring_many": Route(posts=("", MANY, f"sure=on&{MANY}")),
    "add_transcript": Route("recording"),
    "edit_recording": Route("recording", posts=(NAMED,)),
    "close_seconds": Route("recording", ("", "?start=0:00&end=0:01"), posts=("", "start=0&end=0.5&reason=zz")),
    "draft": Route("recording"),
    "typed_time": Route(asks=("?text=0:02.5", "?text=1:75", "")),
    "wave": Route("recording"),
    "sound_state": Route("recording"),
    "cut_hints": Route("recording"),
    "heard": Route("recording", ("?start=0&end=99999", "?start=100&end=900", "", "?start=9&end=1")),
    "correct_words": Route("transcript", ("", "?page=2", *(f"?beside={{ref:tra{key}}}" for key in BESIDE)), posts=(
        "a-place=0&a-0-text=other", "a-base=99&a-place=0&a-0-text=other", "a-place=0&a-0-start=x")),
    "versions": Route("transcript", ("", "?before=1&after=1", "?before=1&after=9")),
    "restore_version": Route("transcript", posts=("", "number=1", "number=9")),
    "names_heard": Route("transcript", ("", "?page=2"), posts=("", "base=1", TAKEN, "base=9")),
    "transcript_file": Route("transcript"),
    "begin_upload": Route(posts=("", '{"name": "tape.wav", "size": 0}')),
    "upload": Route("recording"),
    "drop_upload": Route("recording"),
    "council": Route(asks=("", "?kind=segment", "?by={ref:rec-audience}", "?by={ref:per-audience}", "?by=x")),
    "decide": Route(),
    "decide_many": Route(),
    "close_now": Route(),
    "audiences": Route(),
    "audience": Route("audience"),
    "end_member": Route("audience"),
    "answer_wish": Route(),
    "ledger": Route(asks=("", "?page=2", "?item={ref:rec-audience}", "?item=x")),
    "report": Route(),
    "consent": Route("recording"),
    "consent_paper": Route(),
    "entrust": Route(),
    "explain": Route(asks=("", "?person=visitor&at=2024-06-21T12:00")),
    "see_as": Route(),
    "leave_seeing": Route(),
    "names_at_rest": Route(),
    "rest_name": Route("person"),
    "lift_rest": Route("person"),
    "seasons": Route(),
    "season": Route(),
    "switch_season": Route(),
    **{f"ask_{kind}": Route(kind, posts=("reason=family",)) for kind in ("recording", "segment", *MADE)},
    "requests": Route(),
    "take_back_request": Route(),
    "council_requests": Route(),
    "answer_request": Route(),
    "cautions": Route(),
    "words": Route(),
}

# What other parts of an address may stand for.
PARAMETERS: dict[str, tuple[str, ...]] = {
    "zoom": ("0", "x"), "column": ("0",), "row": ("0",),
    "number": ("1", "999"), "lang": ("en", LANGUAGE, "fr"), "form": ("original", "srt", "vtt", "x"),
}


# --- the address map ---


def routes() -> dict[str, str]:
    """Every address by name, but for those of the framework's own account pages; unnamed ones by their pattern."""
    return {pattern.name or route: route for route, pattern in _patterns(get_resolver().url_patterns, "")}


def _patterns(patterns: list[URLPattern | URLResolver], before: str) -> Iterator[tuple[str, URLPattern]]:
    for pattern in patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            yield route, pattern
        elif pattern.app_name != "admin":
            yield from _patterns(pattern.url_patterns, route)


# --- what is asked ---

# Things whose addresses are asked in every way; those of the others are fetched once.
SAMPLES = re.compile(r"(?:\w+-(?:open|audience|quiet|clip|mixed)|tra\w+-undecided)?")


@dataclass(frozen=True)
class Ask:
    """One request; `about` is the key of the thing whose address it is, if any."""

    method: str
    path: str
    headers: tuple[tuple[str, str], ...] = ()
    data: str = ""
    route: str = ""
    about: str = ""


def asks(refs: dict[str, str], only: tuple[str, ...] = ()) -> list[Ask]:
    """Every request of a crawl, for an archive whose things have these refs."""
    return [
        ask
        for name, pattern in routes().items()
        if not only or name in only
        for about, kwargs in _addresses(ROUTES.get(name, Route()), pattern, refs)
        for ask in _asks(name, reverse(name, kwargs=kwargs), about, refs)
    ]


def parameters_of(pattern: str) -> list[str]:
    return re.findall(r"<(?:\w+:)?(\w+)>", pattern)


def _addresses(route: Route, pattern: str, refs: dict[str, str]) -> Iterator[tuple[str, dict[str, str]]]:
    parameters = parameters_of(pattern)
    if parameters == ["kind", "ref"]:
        yield from _kinds_and_refs(refs)
        return
    choices = [list(_choices(route, name, refs)) for name in parameters]
    for chosen in product(*choices):
        about = next((key for key, _value in chosen if key), "")
        others = [value for key, value in chosen if not key]
        if SAMPLES.fullmatch(about) or not others or others == [PARAMETERS.get(parameters[-1], ("",))[0]]:
            yield about, {name: value for name, (_key, value) in zip(parameters, chosen, strict=True)}


# Of addresses that take any kind of thing, these alone: a thing of each kind by each of these ways of hiding.
OF_ANY_KIND = re.compile(r"\w+-(?:open|audience|described|quiet)|(?:per|spa)-(?:undecided|notice|tied)")


def _kinds_and_refs(refs: dict[str, str]) -> Iterator[tuple[str, dict[str, str]]]:
    """Things under their own kind; some under another, some under none, and one that never was."""
    for key, ref in refs.items():
        kind = kind_of(key)
        if kind in ("audience", "transcript"):
            continue
        if OF_ANY_KIND.fullmatch(key):
            yield key, {"kind": kind, "ref": ref}
        if key.endswith("-audience"):
            yield key, {"kind": "person" if kind != "person" else "place", "ref": ref}
    yield from (("", {"kind": kind, "ref": NEVER[0]}) for kind in ("person", "cue"))


def _choices(route: Route, parameter: str, refs: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Addresses of each thing of the kind, of one thing of every other kind, and of things that never were."""
    if parameter != "ref":
        yield from (("", value) for value in PARAMETERS.get(parameter, ("x", "1")))
        return
    others: set[str] = set()
    for key, ref in refs.items():
        kind = kind_of(key)
        if kind == route.of or (kind not in others and kind != "audience"):
            others.add(kind)
            yield key, ref
    yield from (("", ref) for ref in NEVER)


def _asks(name: str, path: str, about: str, refs: dict[str, str]) -> Iterator[Ask]:
    route = ROUTES.get(name, Route())
    ways = list(product(route.asks, route.headers))
    is_sample = SAMPLES.fullmatch(about)
    for question, headers in ways if is_sample else ways[:1]:
        yield Ask("GET", path + filled(question, refs), tuple(headers.items()), route=name, about=about)
    if is_sample:
        if not about.endswith("-open"):
            yield Ask("HEAD", path, route=name, about=about)
        for data in route.posts:
            yield Ask("POST", path, data=filled(data, refs), route=name, about=about)


def filled(text: str, refs: dict[str, str], key_for: Callable[[str], str] = str) -> str:
    """The text with addresses and canaries put in; `key_for` gives the key to take for one of the fixed plan's."""
    text = re.sub(r"\{ref:([\w-]+)\}", lambda match: refs.get(key_for(match[1]), NEVER[0]), text)
    return re.sub(r"\{word:([\w-]+):(\w+)\}", lambda match: canary(key_for(match[1]), match[2]), text)


# --- what came back ---


@dataclass(frozen=True)
class Answer:
    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes

    def everything(self) -> bytes:
        return repr(self.headers).encode() + self.body


TOKENS = (
    re.compile(rb'(name="csrfmiddlewaretoken" value=")\w+'),
    re.compile(rb'(X-CSRFToken[^\w]+)\w{64}'),
    re.compile(rb"(csrftoken=)\w+"),
    re.compile(rb"(sessionid=)\w+"),
    re.compile(rb"(messages=)[^;]+"),
    re.compile(rb"(expires=)[^;]+"),
)


def normal(raw: bytes) -> bytes:
    """Without what is drawn anew for each request: tokens and the number of the session."""
    for pattern in TOKENS:
        raw = pattern.sub(rb"\1-", raw)
    return raw


def crawl(town: Town, viewer: str, wanted: list[Ask], moment: datetime = NOW) -> dict[Ask, Answer]:
    """Ask everything, in order, as this viewer. Whatever a request writes is taken back after it."""
    client = PlainClient(raise_request_exception=False)
    with clock(moment), quiet_log():
        _enter(client, town, viewer)
        return {ask: _answer(client, ask) for ask in wanted}


class PlainClient(Client):
    """Keeps of an answer what a browser gets: the framework's own client copies what every template knew."""

    def request(self, **request: Any) -> Any:
        response = self.handler(self._base_environ(**request))
        self.cookies.update(response.cookies)
        return response


def _enter(client: Client, town: Town, viewer: str) -> None:
    is_looking = viewer.startswith(LOOKING)
    account = town.cast.get("council" if is_looking else viewer)
    if account is not None:
        client.force_login(account)
    if is_looking:
        audience = town.audiences[viewer.removeprefix(LOOKING)]
        assert client.post(reverse("see_as"), {"audience": audience.ref}).status_code == 302


def crawl_open_doors(town: Town, viewer: str, wanted: list[Ask]) -> dict[Ask, Answer]:
    """The same, but for what stands behind a door that is shut to this viewer.

    A page of a role that the viewer has not, which answers 404 about open things and hidden ones, however it is asked,
    is not asked about every other thing too.
    """
    others = pages_of_others(viewer)
    found = crawl(town, viewer, [ask for ask in wanted if ask.route not in others or _is_at_door(ask)])
    shut = others - {ask.route for ask, answer in found.items() if answer.status != 404}
    return found | crawl(town, viewer, [ask for ask in wanted if ask not in found and ask.route not in shut])


def pages_of_others(viewer: str) -> set[str]:
    """Names of the addresses that the council's and the desk's views answer, but for those of the viewer's role."""
    views = {"council": "archive.views.council.", "archivist": "archive.views.desk."}
    modules = tuple(module for role, module in views.items() if role != viewer)
    found = _patterns(get_resolver().url_patterns, "")
    return {pattern.name or route for route, pattern in found if pattern.callback.__module__.startswith(modules)}


AT_DOOR = re.compile(r"|(?:rec|seg)-(?:open|audience)|per-audience")
WAYS_AT_DOOR = ("-open", "-audience", "-described", "-notice", "-quiet")


def _is_at_door(ask: Ask) -> bool:
    is_of_its_kind = bool(ask.about) and kind_of(ask.about) == ROUTES[ask.route].of
    return bool(AT_DOOR.fullmatch(ask.about)) or (is_of_its_kind and ask.about.endswith(WAYS_AT_DOOR))


@contextmanager
def quiet_log() -> Iterator[None]:
    """Thousands of answers of 404 are as they should be."""
    logging.disable(logging.WARNING)
    try:
        yield
    finally:
        logging.disable(logging.NOTSET)


def _answer(client: Client, ask: Ask) -> Answer:
    with transaction.atomic():
        cookies = client.cookies.copy()
        response = client.generic(
            ask.method, ask.path, ask.data, content_type="application/x-www-form-urlencoded",
            headers=dict(ask.headers),
        )
        body = b"".join(response.streaming_content) if response.streaming else response.content
        client.cookies = cookies
        transaction.set_rollback(True)
    return Answer(response.status_code, _headers(response), normal(body))


def _headers(response: Any) -> tuple[tuple[str, str], ...]:
    rows = [*response.headers.items(), *(("Set-Cookie", cookie.OutputString()) for cookie in response.cookies.values())]
    return tuple(sorted((name, _settled(name, value)) for name, value in rows if name != "Date"))


def _settled(name: str, value: str) -> str:
    """A header but for what changes by itself. A page that is not to be kept says that it ends now."""
    if name == "Expires" and abs(parse_http_date(value) - time.time()) < 600:
        return "now"
    return normal(value.encode()).decode()
