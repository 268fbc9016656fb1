"""Whatever is tapped in whatever order: nobody inspects own work, and only checked cars go on.

The model beside the app keeps its own account of hands, looks and flags, from what was tapped and
whether it went in; it reads nothing of the app's own rules.
"""

from typing import Any

from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from layflat.web.cutting.models import Cut
from layflat.web.inspection.kinds import KINDS
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Stage
from layflat.web.people.models import Person, Role, Shop
from layflat.web.taps.models import Tap
from web.laying.shop import ready_to_lay, tap

WHO = st.integers(0, 2)
PIECE = st.integers(0, 1)
FLAG = st.integers(1, 4)
KIND = st.sampled_from([kind.name for kind in KINDS])
REMEDY = st.sampled_from([remedy.value for remedy in Flag.Remedy])
HOW = st.sampled_from(["gone", "noted", "no fault"])
REASON = st.sampled_from(["", "", "", "nobody else is here"])


class AnyOrder(RuleBasedStateMachine):
    """Three people and two pieces of film."""

    def __init__(self) -> None:
        super().__init__()
        self.apart = transaction.atomic()
        self.apart.__enter__()
        Shop.objects.create(name="Lampwick Yard")
        self.people = [
            Person.objects.create(name=name, shown=name.capitalize(), role=role)
            for name, role in (
                ("ines", Role.INSTALLER),
                ("corin", Role.COUNTER),
                ("odile", Role.OWNER),
            )
        ]
        self.job, cuts = ready_to_lay()
        self.films = [[cut] for cut in cuts]
        self.now = 0
        self.hands: dict[int, set[int]] = {}  # by film, who has or had it in hand
        self.laid: set[int] = set()
        self.lost: set[int] = set()
        self.touched: dict[int, int] = {}
        self.looked: dict[int, int] = {}
        self.inspector: int | None = None
        self.says_why = False
        self.flags: dict[int, str] = {}
        self.of_flag: dict[int, int] = {}

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.apart.__exit__(None, None, None)

    def tapped(self, act: str, who: int, **fields: Any) -> bool:
        self.now += 1
        row = tap(act, self.people[who], self.job, **fields)
        return row.state == Tap.State.DONE

    def film(self, piece: int) -> int:
        return self.films[piece][-1].pk

    def has_hands_in_it(self, who: int) -> bool:
        return any(who in hands for hands in self.hands.values())

    def must_be_second(self, who: int) -> None:
        """Who has just been let inspect laid none of it, or said why all the same."""
        assert self.inspector == who
        assert self.says_why or not self.has_hands_in_it(who)

    def lose(self, film: int) -> None:
        self.lost.add(film)
        self.laid.discard(film)

    @rule(who=WHO, piece=PIECE, second=WHO)
    def lay(self, who: int, piece: int, second: int) -> None:
        people = f"{self.people[who].pk},{self.people[second].pk}"
        if self.tapped("laying.began", who, cut=self.film(piece), people=people):
            self.hands[self.film(piece)] = {who, second}

    @rule(who=WHO, piece=PIECE)
    def end(self, who: int, piece: int) -> None:
        film = self.film(piece)
        if self.tapped("laying.ended", who, cut=film):
            assert film in self.hands
            self.laid.add(film)
            self.touched[film] = self.now
            for number, of in self.of_flag.items():
                same = {cut.pk for cut in self.films[piece]}
                if of in same and of in self.lost and self.flags[number] != "ended":
                    self.flags[number] = "mended"
                    self.of_flag[number] = film

    @rule(who=WHO, piece=PIECE)
    def undo(self, who: int, piece: int) -> None:
        film = self.film(piece)
        if self.tapped("laying.undone", who, cut=film):
            assert film not in self.looked
            if film in self.laid:
                self.laid.discard(film)
                for number, of in self.of_flag.items():
                    if of == film:
                        self.flags[number] = "open"
                        self.of_flag[number] = self.films[piece][-2].pk
            else:
                del self.hands[film]

    @rule(who=WHO, piece=PIECE)
    def remake(self, who: int, piece: int) -> None:
        if self.tapped("laying.remake", who, cut=self.film(piece), because="torn"):
            self.lose(self.film(piece))

    @rule(piece=PIECE)
    def cut_again(self, piece: int) -> None:
        old = self.films[piece][-1]
        if old.pk in self.lost:
            self.films[piece].append(
                Cut.objects.create(
                    section=old.section,
                    piece=old.piece,
                    number=old.number,
                    attempt=old.attempt + 1,
                    state=Cut.State.WEEDED,
                )
            )

    @rule(who=WHO, why=REASON, over=st.sampled_from(["", "yes"]))
    def inspect(self, who: int, why: str, over: str) -> None:
        asked = {"own_work_because": why, "take_over": over}
        if self.tapped("inspection.begun", who, **asked):
            self.inspector = who
            self.says_why = self.has_hands_in_it(who)
            assert why or not self.says_why
            assert self.all_laid()

    @rule(who=WHO)
    def leave(self, who: int) -> None:
        if self.tapped("inspection.left", who):
            assert self.inspector == who
            self.inspector = None

    @rule(who=WHO, piece=PIECE)
    def look(self, who: int, piece: int) -> None:
        film = self.film(piece)
        if self.tapped("inspection.checked", who, cut=film):
            self.must_be_second(who)
            assert film in self.laid
            self.looked[film] = self.now

    @rule(who=WHO, piece=PIECE, kind=KIND, remedy=REMEDY)
    def flag(self, who: int, piece: int, kind: str, remedy: str) -> None:
        film = self.film(piece)
        if self.tapped("inspection.flagged", who, cut=film, kind=kind, remedy=remedy):
            number = len(self.flags) + 1
            self.flags[number], self.of_flag[number] = "open", film
            if remedy == "remake":
                self.lose(film)
            assert self.job.stage == Stage.BAY

    @rule(who=WHO, number=FLAG, second=WHO)
    def mend(self, who: int, number: int, second: int) -> None:
        people = f"{self.people[who].pk},{self.people[second].pk}"
        if self.tapped("inspection.mended", who, flag=number, people=people):
            film = self.of_flag[number]
            self.hands[film] = self.hands.get(film, set()) | {who, second}
            self.touched[film] = self.now
            self.flags[number] = "mended"
            if self.inspector in (who, second) and not self.says_why:
                self.inspector = None

    @rule(who=WHO, number=FLAG, remedy=REMEDY)
    def otherwise(self, who: int, number: int, remedy: str) -> None:
        if self.tapped("inspection.remedy", who, flag=number, remedy=remedy):
            assert self.flags[number] == "open"
            if remedy == "remake":
                self.lose(self.of_flag[number])

    @rule(who=WHO, number=FLAG, remedy=REMEDY)
    def still_there(self, who: int, number: int, remedy: str) -> None:
        if self.tapped("inspection.still-there", who, flag=number, remedy=remedy):
            self.must_be_second(who)
            assert self.flags[number] == "mended"
            self.flags[number] = "open"
            if remedy == "remake":
                self.lose(self.of_flag[number])

    @rule(who=WHO, number=FLAG, how=HOW)
    def end_flag(self, who: int, number: int, how: str) -> None:
        fields = {"flag": number, "how": how, "because": "agreed"}
        if self.tapped("inspection.ended-flag", who, **fields):
            self.must_be_second(who)
            assert self.flags[number] == ("mended" if how == "gone" else "open")
            assert self.of_flag[number] in self.laid
            self.flags[number] = "ended"

    @rule(who=WHO)
    def finish(self, who: int) -> None:
        if self.tapped("inspection.finished", who):
            self.must_be_second(who)
            self.inspector = None
            assert self.job.stage == Stage.CHECKED

    @rule(who=WHO)
    def lay_the_rest(self, who: int) -> None:
        """A shortcut to where most rules have something to do."""
        for piece in range(2):
            self.cut_again(piece)
            self.lay(who, piece, who)
            self.end(who, piece)

    @rule(who=WHO, why=REASON)
    def inspect_it_all(self, who: int, why: str) -> None:
        """A shortcut to a checked job."""
        self.inspect(who, why, "yes")
        for number in list(self.flags):
            for how in ("gone", "noted", "no fault"):
                self.end_flag(who, number, how)
        for piece in range(2):
            self.look(who, piece)
        self.finish(who)

    def all_laid(self) -> bool:
        return all(films[-1].pk in self.laid for films in self.films)

    @invariant()
    def only_what_is_checked_goes_on(self) -> None:
        if self.job.stage == Stage.CHECKED:
            assert self.all_laid()
            for film in self.laid:
                assert self.looked.get(film, -1) > self.touched[film]
            assert set(self.flags.values()) <= {"ended"}


def test_no_order_of_taps_gets_round_the_rules(shop: Shop, database: str) -> None:
    shop.delete()
    run_state_machine_as_test(
        AnyOrder,
        settings=settings(
            max_examples=12 if database == "sqlite" else 4,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
