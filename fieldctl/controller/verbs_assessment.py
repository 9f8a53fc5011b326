"""Assessment: who is to be assessed, what was seen, the verdict, two signatures."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import (
    AssessmentDecided,
    AssessmentListed,
    AssessmentSigned,
    AssessmentTicked,
    ExerciseStarted,
    Fact,
    StrikesDropped,
    TargetOdd,
)
from fieldctl.units import PersonId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.debrief.assessment import Standing

Row = dict[str, Any]

CANDIDATES_MOST = 200
TEXT_MOST = 500  # letters of a note


class AssessmentVerbs:
    """The verbs about assessments; each reads the exercise from the ledger, however old it is."""

    def __init__(self, controller: Controller, shown: Callable[[str], Awaitable[Row]]) -> None:
        self._c = controller
        self._shown = shown  # a drill, as drill-show shows it

    # ---- what the ledger says --------------------------------------------------------------------------------

    def _facts(self, exercise: str) -> list[Fact]:
        facts = list(self._c.ledger.facts(exercise=exercise))
        if not facts:
            raise NotFound(f"There is no exercise {exercise!r}.", remedy="Look at the list: fieldctl assessment list.")
        return facts

    def _candidate(self, facts: list[Fact], candidate: str | None) -> PersonId:
        """Who is meant: the one who searches, where there is only one."""
        started = next((fact for fact in facts if isinstance(fact, ExerciseStarted)), None)
        searchers = () if started is None else started.searchers
        if candidate is None and len(searchers) == 1:
            return PersonId(searchers[0])
        who = None if candidate is None else self._c.book.find(candidate)
        if who is None or who not in searchers:
            names = ", ".join(self._c.people.get(PersonId(each), each) for each in searchers)
            wrong = "Several search together." if candidate is None else f"{candidate!r} does not search in it."
            raise BadInput(wrong, expected=names or "nobody was named", remedy="Name one of these.")
        return who

    def _standing(self, facts: list[Fact], candidate: PersonId) -> Standing:
        from fieldctl.debrief.assessment import standing

        try:
            return standing(facts, self._beside(facts), candidate)
        except ValueError as why:
            raise Refused(
                f"This is no assessment: {why}.",
                expected="an exercise of a drill with assessed = true",
                remedy="Mark the drill so, and start it anew.",
            ) from None

    def _beside(self, facts: list[Fact]) -> list[Fact]:
        """What its targets said of themselves, in this exercise or any other."""
        targets = [target for fact in facts if isinstance(fact, ExerciseStarted) for target in fact.picks.values()]
        kinds = (StrikesDropped, TargetOdd)
        return [fact for target in targets for fact in self._c.ledger.facts(target=target, kinds=kinds)]

    def _open(self, exercise: str, candidate: str | None) -> tuple[list[Fact], PersonId, Standing]:
        """An assessment that may still be changed; Refused where it is signed twice."""
        facts = self._facts(exercise)
        who = self._candidate(facts, candidate)
        it = self._standing(facts, who)
        if it.final:
            raise Refused(
                f"The sheet of {exercise} is signed twice and does not change any more.",
                remedy="Let the candidate repeat: start the drill anew.",
            )
        return facts, who, it

    def _row(self, exercise: str, who: PersonId) -> Row:
        from fieldctl.debrief.assessment_page import sheet_row

        facts = self._facts(exercise)
        return {"exercise": exercise, "candidate": who, **sheet_row(self._standing(facts, who), self._c.people)}

    # ---- verbs -----------------------------------------------------------------------------------------------

    async def candidates(self, drill: str, candidates: tuple[str, ...], by: str) -> Row:
        """Who is to be assessed by a drill, in this order; replaces the list of that drill."""
        if len(candidates) > CANDIDATES_MOST:
            raise BadInput(
                f"{len(candidates)} are too many.", expected=f"at most {CANDIDATES_MOST}", remedy="Split it."
            )
        plan = await self._drill(drill)
        people = tuple(dict.fromkeys(self._c.person(name) for name in candidates if name.strip()))
        nth = self._c.ledger.head()[0] + 1
        fact = AssessmentListed(plan, people, self._c.person(by), self._c.outside.here(), nth)
        await self._c.write(fact)
        return {"drill": fact.drill, "candidates": [self._c.people.get(who, who) for who in people]}

    async def _drill(self, name: str) -> str:
        """The name of a drill that can assess; NotFound or FileFaults as its file says, Refused for another one."""
        plan = await self._shown(name)
        if not plan["assessed"]:
            raise Refused(
                f"The drill {plan['drill']} is not marked as assessed.",
                expected="a drill with assessed = true",
                remedy="Mark the drill so, then name the candidates.",
            )
        return str(plan["drill"])

    async def show(self, exercise: str, candidate: str | None = None) -> Row:
        """One sheet: as it was decided, or as it would be decided now."""
        return self._row(exercise, self._candidate(self._facts(exercise), candidate))

    async def tick(
        self,
        exercise: str,
        item: str,
        value: str,
        by: str,
        candidate: str | None = None,
        why: str = "",
        by_hand: bool = False,
        tick: str = "",
    ) -> Row:
        """What an observer saw; or, by hand and with a reason, a value that the field would have measured."""
        facts, who, _ = self._open(exercise, candidate)
        item, value = " ".join(item.split()), " ".join(value.split())
        for what, text in (("item", item), ("value", value)):
            if not text or len(text) > TEXT_MOST:
                raise BadInput(f"{text[:20]!r} is no {what}.", expected=f"1 to {TEXT_MOST} letters", remedy="Give one.")
        if len(why) > TEXT_MOST:
            raise BadInput("The note is too long.", expected=f"at most {TEXT_MOST} letters", remedy="Shorten it.")
        if by_hand and not why.strip():
            raise BadInput("An entry by hand needs a reason.", remedy="Say why, in a few words.")
        observer = self._assessing(facts, by)
        name = tick or f"{exercise}-tick-{self._c.next_tap()}"
        if not any(isinstance(f, AssessmentTicked) and f.tick == name for f in facts):
            nth = 1 + max((f.nth for f in facts if isinstance(f, AssessmentTicked)), default=0)
            here = self._c.outside.here()
            await self._c.write(AssessmentTicked(exercise, name, who, item, value, why, observer, here, by_hand, nth))
        return {"tick": name, **self._row(exercise, who)}

    async def decide(self, exercise: str, verdict: str, by: str, why: str = "", candidate: str | None = None) -> Row:
        """The verdict, with the sheet as it is now; a technical fault means repeat, never failed."""
        from fieldctl.debrief.assessment import FAILED, NOT_OVER, VERDICTS, digest_of, sheet_of

        facts, who, _ = self._open(exercise, candidate)
        if verdict not in VERDICTS:
            raise BadInput(f"{verdict!r} is no verdict.", expected=", ".join(VERDICTS), remedy="Choose one of these.")
        sheet = sheet_of(facts, self._beside(facts), who)
        if sheet["proposal"] == NOT_OVER:
            raise Refused(f"{exercise} still goes on.", remedy="Let it end, or stop it: fieldctl exercise stop.")
        if verdict == FAILED and sheet["technical"]:
            raise Refused(
                "Something technical went wrong: nobody fails by that.",
                expected="repeat, or passed",
                remedy="Decide repeat, and start the drill anew.",
            )
        if verdict != sheet["proposal"] and not why.strip():
            raise BadInput(
                f"The field says {sheet['proposal']}: another verdict needs a reason.", remedy="Say why: --why TEXT."
            )
        assessor = self._assessing(facts, by)
        nth = 1 + max((f.nth for f in facts if isinstance(f, AssessmentDecided)), default=0)
        here = self._c.outside.here()
        fact = AssessmentDecided(exercise, who, verdict, why, sheet, digest_of(sheet), assessor, here, nth)
        await self._c.write(fact)
        return self._row(exercise, who)

    async def sign(self, exercise: str, role: str, by: str, candidate: str | None = None) -> Row:
        """A signature under the decided sheet: assessor, and a second one by somebody else."""
        from fieldctl.debrief.assessment import ROLES

        facts, who, it = self._open(exercise, candidate)
        if role not in ROLES:
            raise BadInput(f"{role!r} signs nothing.", expected=", ".join(ROLES), remedy="Choose one of these.")
        if it.decided is None:
            raise Refused("Nothing is decided yet.", remedy="Decide first: fieldctl assessment decide.")
        if it.altered:
            raise Refused(
                "The sheet on file is not the one that was decided.", remedy="Look at the log: fieldctl ledger verify."
            )
        if not by.strip():
            raise BadInput("A signature needs a name.", remedy="Say who signs: --by NAME.")
        person = self._assessing(facts, by)
        if any(row.by == person and other != role for other, row in it.signed.items()):
            raise Refused(
                "One person signs once.", expected="two people", remedy="Let somebody else give the second signature."
            )
        if role not in it.signed:
            await self._c.write(AssessmentSigned(exercise, who, role, it.digest, person, self._c.outside.here()))
        return self._row(exercise, who)

    def _assessing(self, facts: list[Fact], by: str) -> PersonId:
        """Who ticks, decides or signs: nobody who searched in it, and nobody who was forgotten."""
        person = self._c.person(by)
        if any(isinstance(fact, ExerciseStarted) and person in fact.searchers for fact in facts):
            raise Refused(
                "Who searches in an exercise assesses nobody in it.", remedy="Let the assessor do it: --by NAME."
            )
        if person in self._c.book.forgotten:
            raise Refused(
                f"{person} was forgotten and stays so.", remedy="Name the person anew where he takes part again."
            )
        return person
