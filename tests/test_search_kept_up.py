"""What is kept in memory is brought in line after each act, and equals what would be read anew."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from django.db import connection, transaction

from archive.access import brought_up, decisions, layout, policy, touched, triggers, writing
from archive.access.gate import Gate
from archive.models import Audience, Cue, Item, Person, PolicyVersion, Recording, Segment, Tie, Topic, Touched
from archive.search import boards, engine, finding, sight
from archive.search.finding import Wanted
from archive.search.query import read

from .conftest import bring, make_cast, open_up, segment
from .test_search import named, said

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _nothing_kept():
    for part in (policy, layout, sight, engine):
        part.forget()
    yield
    for part in (policy, layout, sight, engine):
        part.forget()


# --- what is noted ---


def noted_after(version: int) -> set[tuple[int, int]]:
    return set(Touched.ungated.filter(version__gt=version).values_list("sort", "number"))


def test_every_row_that_counts_is_noted_with_its_version(tmp_path):
    cast = make_cast()
    recording = bring(None, tmp_path, "A talk")
    part = segment(recording, 0, 1000, "A part")
    topic = named("topic", "Kilns")
    at = policy.current_version()
    part.topics.add(topic)
    assert noted_after(at) == {(0, part.pk), (0, topic.pk)}
    at = policy.current_version()
    Segment.ungated.filter(pk=part.pk).update(title="Another")
    assert noted_after(at) == {(0, part.pk), (0, recording.pk)}
    at = policy.current_version()
    Item.ungated.filter(pk=part.pk).delete()
    assert (0, part.pk) in noted_after(at)
    assert (0, topic.pk) in noted_after(at)
    at = policy.current_version()
    open_up(cast["council"], recording, terms=decisions.Terms([Audience.objects.get(name="family")]))
    assert {sort for sort, _ in noted_after(at)} == {0, 1, 2}
    with transaction.atomic():
        said(recording, [(0, 900, "words")])
    assert max(Touched.ungated.values_list("version", flat=True)) <= policy.current_version()


def test_an_emptied_archive_has_nothing_noted_that_is_yet_to_come():
    for number in range(5):
        named("topic", f"Topic {number}")
    Item.ungated.all().delete()  # as a flush may do it: the version first, then the rest
    PolicyVersion.objects.all().delete()
    triggers.install()
    assert policy.current_version() == 1
    assert not Touched.ungated.exists()


def test_every_table_that_is_noted_moves_the_version():
    assert set(triggers.TOUCHES) <= set(triggers.MOVES_VERSION)


def test_too_much_or_everything_is_read_anew(monkeypatch):
    make_cast()
    at = policy.current_version()
    people = [named("person", f"Person {number}") for number in range(4)]
    assert touched.since(at).items.tolist() == [person.pk for person in people]
    monkeypatch.setattr(touched, "MOST", 3)
    assert touched.since(at) is None
    monkeypatch.undo()
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO archive_house (id, name, welcome, language, home_name, latitude_deg, longitude_deg,"
                       " time_zone, is_invented) VALUES (1, 'x', '', 'en', '', 0, 0, 'UTC', false)")
    assert touched.since(at) is None


def test_what_may_be_taken_back_is_built_on_by_nothing(tmp_path):
    make_cast()
    policy.current()
    with transaction.atomic():
        named("person", "Never was")
        policy.current()
        layout.current(policy.current())
        transaction.set_rollback(True)
    PolicyVersion.objects.update(number=policy.current_version() + 5)
    named("person", "Is")
    assert_equal_to_what_is_read_anew()


# --- after every act ---


def assert_equal_to_what_is_read_anew() -> None:
    standing = policy.current()
    anew = policy.read()
    for name in ("version", "zone", "size", "everyone", "signed_in", "derived", "rests", "rules"):
        assert getattr(standing, name) == getattr(anew, name), name
    assert standing.undecided.tolist() == anew.undecided.tolist()
    for name in ("reach", "by_kind", "within"):
        told = [
            {key: sorted(numbers.tolist()) for key, numbers in getattr(one, name).items() if len(numbers)}
            for one in (standing, anew)
        ]
        assert told[0] == told[1], name
    assert_same_layout(layout.current(standing), layout.read())


def assert_same_layout(held: layout.Layout, anew: layout.Layout) -> None:
    for name in ("kind", "holder", "start_ms", "end_ms", "length_ms", "is_clips", "first_day", "last_day"):
        column, other = getattr(held, name), getattr(anew, name)
        assert column[: len(other)].tolist() == other.tolist(), name
        assert not column[len(other) :].any(), name
    tongues = [[("", *one.languages)[code] for code in one.language.tolist()] for one in (held, anew)]
    assert tongues[0][: len(tongues[1])] == tongues[1]
    items = np.flatnonzero(anew.kind)
    assert np.argsort(held.rank[items]).tolist() == np.argsort(anew.rank[items]).tolist()
    assert sorted(held.stretches.tolist()) == sorted(anew.stretches.tolist())
    for name in ("tie_source", "tie_target", "tie_kind"):
        assert getattr(held, name).tolist() == getattr(anew, name).tolist(), name


def assert_same_sight(gate: Gate) -> None:
    seen = sight.sight_of(gate, engine.current())
    stock, lies = seen.board.stock, seen.board.layout
    board = boards.board(stock, lies)
    assert seen.board.home.tolist() == board.home.tolist()
    assert pairs(seen.board.shared) == pairs(board.shared)
    assert seen.board.is_told.tolist() == board.is_told.tolist()
    anew = sight._look(gate, board)
    assert seen.is_seen.tolist() == anew.is_seen.tolist()
    assert seen.level.tolist() == anew.level.tolist()
    assert seen.lengths.tolist() == anew.lengths.tolist()
    assert (seen.told, seen.things) == (anew.told, anew.things)


def pairs(shared) -> list[tuple[int, int]]:
    return sorted(zip(shared[0].tolist(), shared[1].tolist(), strict=True))


class Acts:
    """Acts of every sort, in an order of the dice."""

    def __init__(self, cast, folder, seed: int) -> None:
        self.cast, self.dice = cast, random.Random(seed)
        self.recordings = [bring(None, folder, f"Talk {at}", hz=200 + at) for at in range(3)]
        for at, recording in enumerate(self.recordings):
            said(recording, [(start, start + 450, f"kiln goat {at} fire") for start in range(0, 6000, 500)])
        self.made = 0

    def one(self) -> None:
        self.dice.choice(self.all())()

    def all(self) -> list[Callable[[], object]]:
        return [
            *(self.add_segment, self.add_segment, self.change_segment, self.change_segment, self.remove_segment),
            *(self.add_thing, self.rename_thing, self.tie_things, self.decide, self.decide, self.entrust, self.join),
            *(self.close_span, self.say, self.take_cue_back, self.offer, self.date),
        ]

    def word(self) -> str:
        self.made += 1
        return f"{self.dice.choice('azmbÄé')}word{self.made}"

    def some(self, model):
        rows = list(model.ungated.order_by("pk"))
        return self.dice.choice(rows) if rows else None

    def given(self) -> writing.SegmentGiven:
        start = self.dice.randrange(0, 5000, 250)
        ties = {}
        for name, model in (("speakers", Person), ("topics", Topic)):
            row = self.some(model)
            ties[name] = [row.pk] if row is not None and self.dice.random() < 0.7 else []
        end = start + self.dice.randrange(250, 1000, 250)
        return writing.SegmentGiven(start, end, f"Part {self.word()} kiln", **ties)

    def add_segment(self) -> None:
        writing.add_segment(None, self.dice.choice(self.recordings), self.given())

    def change_segment(self) -> None:
        part = self.some(Segment)
        if part is not None:
            writing.change_segment(None, part, self.given(), part.version)

    def remove_segment(self) -> None:
        part = self.some(Segment)
        if part is not None:
            writing.remove_segment(None, part)

    def add_thing(self) -> None:
        named(self.dice.choice(["person", "topic", "place"]), f"Name {self.word()}")

    def rename_thing(self) -> None:
        row = self.some(Person)
        if row is not None:
            with transaction.atomic():
                writing.give_names(row, [writing.NameGiven("en", f"Name {self.word()}")])

    def tie_things(self) -> None:
        one, other = self.some(Topic), self.some(Topic)
        if one is not None and one != other and not Tie.ungated.filter(source=one, target=other).exists():
            writing.tie(one, "narrower_than", other)

    def decide(self) -> None:
        row = self.some(self.dice.choice([Recording, Segment, Person, Topic]))
        if row is not None:
            family = Audience.objects.get(name="family")
            scope = self.dice.choice(["itself", "tied"])
            terms = self.dice.choice([None, decisions.Terms(), decisions.Terms([family], scope=scope, others_see=2)])
            open_up(self.cast["council"], row, terms=terms)

    def entrust(self) -> None:
        decisions.entrust(self.cast["council"], self.cast["plain"], self.dice.choice(self.recordings))

    def join(self) -> None:
        who = self.cast[self.dice.choice(["plain", "keeper", "educator"])]
        decisions.join(self.cast["council"], Audience.objects.get(name="women"), who)

    def close_span(self) -> None:
        start = self.dice.randrange(0, 5000, 500)
        writing.close_span(None, self.dice.choice(self.recordings), start, start + 400, "not for all")

    def say(self) -> None:
        said(self.dice.choice(self.recordings), [(0, 700, f"ember {self.word()}"), (2000, 2700, "tongs kiln")])

    def take_cue_back(self) -> None:
        cue = self.some(Cue)
        with transaction.atomic():
            Cue.ungated.filter(pk=cue.pk).delete()
            writing.owe_index([self.recordings[0].pk, self.recordings[1].pk, self.recordings[2].pk])

    def offer(self) -> None:
        act = decisions.Act([self.dice.choice(self.recordings).pk], None, offering=self.dice.choice(["clips", "quiet"]))
        decisions.decide(self.cast["council"], decisions.Minute(decisions.date.today(), "m"), act)

    def date(self) -> None:
        chosen = self.dice.choice(["1950", "1962~", "197X"])
        Recording.ungated.filter(pk=self.dice.choice(self.recordings).pk).update(recorded_on=chosen)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_kept_equals_what_is_read_anew_after_every_act(tmp_path, monkeypatch, seed):
    acts = Acts(make_cast(), tmp_path, seed)
    viewers = [None, acts.cast["family"], acts.cast["plain"], acts.cast["council"]]
    whole = counted(monkeypatch)
    for _ in range(25):
        acts.one()
        assert_equal_to_what_is_read_anew()
        for account in viewers:
            assert_same_sight(Gate(account))
    whole.clear()
    acts.add_segment()
    acts.change_segment()
    for account in viewers:
        ask(account)
    assert whole == [], "an act of one item made something be read whole"


def ask(account) -> None:
    finding.find(Gate(account), Wanted(read("kiln")))


def counted(monkeypatch) -> list[str]:
    """The names of what was read or laid out whole, as it happens."""
    seen: list[str] = []
    for room, name in ((policy, "_read"), (layout, "read"), (sight, "board"), (sight, "_look")):
        monkeypatch.setattr(room, name, noting(seen, name, getattr(room, name)))
    return seen


def noting(seen: list[str], name: str, whole):
    def called(*given):
        seen.append(name)
        return whole(*given)

    return called


def test_ranks_without_room_are_made_anew():
    names = layout.Names.of(["a", "c"])
    for at in range(100):
        wider = names.with_these([f"b{'a' * (100 - at)}"])
        if wider is None:
            break
        names = wider
    assert wider is None
    assert [names.rank(key) for key in names.keys] == sorted(set(names.ranks))


def test_a_new_language_is_read_whole(tmp_path):
    make_cast()
    bring(None, tmp_path, "A talk")
    under = policy.current()
    held = layout.current(under)
    bring(None, tmp_path, "Another", hz=300, language="qse-x-senneth")
    assert brought_up.layout_after(under, held, policy.current()) is None
    assert_equal_to_what_is_read_anew()
