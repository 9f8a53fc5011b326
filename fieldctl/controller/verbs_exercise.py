"""Drills and exercises: check, start, stop, call, split, correct, answer."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.candidates import candidates_of, of_this_field
from fieldctl.controller.conditions import conditions_of
from fieldctl.controller.exercises import START_IN_S, draw_seed
from fieldctl.controller.people import NAME_MOST
from fieldctl.controller.strikes import LATE_AFTER_US
from fieldctl.controller.taps import tapped
from fieldctl.controller.target_views import views_of
from fieldctl.controller.verbs_assessment import TEXT_MOST
from fieldctl.drill.corrections import CHANGES, fault_of, next_nth, strike_id
from fieldctl.drill.files import LIMIT_MIN, plan_to_mapping, read_drill
from fieldctl.drill.pick import Candidate, Picks, pick
from fieldctl.drill.plan import Drill
from fieldctl.drill.state import Exercise
from fieldctl.errors import BadInput, FileFaults, NotFound, Refused
from fieldctl.events import (
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    QuestionAnswered,
    QuestionAsked,
    SplitMade,
    StrikeRecorded,
)
from fieldctl.ready import CARDS, Hindrance, hindrances
from fieldctl.units import Stamp, TargetId, micros

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

HIT_MOST_S = 60 * LIMIT_MIN[1]  # no drill lasts longer
SHIFT_MOST_S = 3600  # as far back as a tap may be said to lie


class ExerciseVerbs:
    """The verbs about drills and exercises."""

    def __init__(self, controller: Controller) -> None:
        from fieldctl.rehearsal.apart import disturbance_of  # brings numpy: now, and not in an exercise

        self._c = controller
        self._disturbance = disturbance_of(controller.site)

    # ---- drills ----------------------------------------------------------------------------------------------

    def _drill(self, name: str) -> Drill:
        folder = self._c.outside.folder / "drills"
        path = folder / f"{name.removesuffix('.toml')}.toml"
        if "/" in name or not path.is_file():
            known = ", ".join(sorted(p.stem for p in folder.glob("*.toml"))) or "none"
            raise NotFound(f"There is no drill {name!r}.", expected=known, remedy="Name one of these.")
        return read_drill(path.read_text(encoding="utf-8"), f"drills/{path.name}")

    async def drills(self) -> Row:
        """Every drill on file with what it asks for, or its faults."""
        rows: list[Row] = []
        for path in sorted((self._c.outside.folder / "drills").glob("*.toml")):
            try:
                drill = self._drill(path.stem)
            except FileFaults as faults:
                rows.append({"drill": path.stem, "faults": [str(f) for f in faults.faults]})
                continue
            rows.append(
                {
                    "drill": drill.name,
                    "title": drill.title,
                    "limit_s": drill.limit_s,
                    "burials": [
                        {"burial": b.name, "signal": b.signal.kind, "after": b.signal.after, "find": b.find}
                        for b in drill.burials
                    ],
                }
            )
        return {"drills": rows}

    async def drill_shown(self, drill: str) -> Row:
        """One drill as its file says it: scene, burials, wishes."""
        plan = self._drill(drill)
        return {"drill": plan.name, "title": plan.title, "assessed": plan.assessed, **plan_to_mapping(plan)}

    def staffed(self, drill: str, seed: int, targets: dict[str, str]) -> tuple[Drill, Picks]:
        """A drill with the targets that would play it now."""
        plan = self._drill(drill)
        return plan, self._pick(plan, seed, targets)

    def candidates(self) -> list[Candidate]:
        """Every target with a place, as the picker sees it."""
        return candidates_of(self._c)

    def _pick(self, drill: Drill, seed: int, targets: dict[str, str]) -> Picks:
        again = {name: TargetId(target.lower()) for name, target in targets.items()} or None
        candidates = self.candidates()
        of_this_field(drill, candidates, again or {})
        return pick(drill, candidates, seed=seed, disturbance=self._disturbance, again=again)

    def _hindrances(self, drill: Drill, picks: Picks) -> tuple[Hindrance, ...]:
        unmet = [
            Hindrance(
                f"wish:{u.burial}:{u.wish}", f"{u.burial}: {u.wrong}.", f"The nearest that can be had: {u.nearest}."
            )
            for u in picks.unmet
        ]
        found = hindrances(
            drill,
            picks.targets,
            views_of(self._c),
            self._c.day,
            all_off=self._c.all_off.state.in_force,
            ledger_failed=self._c.failed is not None,
        )
        return (*unmet, *found, *self._too_near(drill, picks))

    def _too_near(self, drill: Drill, picks: Picks, beside: Iterable[Exercise] | None = None) -> list[Hindrance]:
        """Running exercises (all, or these) whose signals and this one's would reach each other's searchers: a warning
        each."""
        running = [e for e in (self._c.exercises.running() if beside is None else beside) if e.drill.sends]
        if not (running and picks.staffed and drill.sends):
            return []
        from fieldctl.rehearsal.apart import exercise_of, too_near

        site = self._c.site
        others = [exercise_of(site, e.drill, Picks({n: b.target for n, b in e.burials.items()}, 0)) for e in running]
        return [
            Hindrance(f"too-near:{row.with_name}", row.text, row.remedy, blocks=False)
            for row in too_near(exercise_of(site, drill, picks), others)
        ]

    async def check(self, drill: str, seed: int = 0, targets: dict[str, str] | None = None) -> Row:
        """Who would play what, and what is in the way; changes nothing."""
        plan = self._drill(drill)
        picks = self._pick(plan, seed, targets or {})
        return {
            "drill": plan.name,
            "seed": seed,
            "picks": dict(picks.targets),
            "notes": list(picks.notes),
            "hindrances": [_hindrance(h) for h in self._hindrances(plan, picks)],
            "cards": list(CARDS),
        }

    # ---- an exercise's life ----------------------------------------------------------------------------------

    async def start(
        self,
        drill: str,
        by: str,
        searchers: tuple[str, ...] = (),
        seed: int | None = None,
        targets: dict[str, str] | None = None,
        start_in_s: float = START_IN_S,
        request: str = "",
    ) -> Row:
        """Start an exercise, over what only warns; the same `request` again gives the same one, never a second."""
        if request and (known := self._c.requests.get(request)) is not None:
            return {**self._row(self._exercise(known)), "warnings": []}
        plan = self._drill(drill)
        if not START_IN_S <= start_in_s <= 600:
            raise BadInput(
                f"A start {start_in_s:g} s ahead cannot be.", expected=f"{START_IN_S:g} to 600 s", remedy="Name such."
            )
        if seed is None:
            seed = draw_seed(self._c.outside)
        picks = self._pick(plan, seed, targets or {})
        found = self._hindrances(plan, picks)
        blocking = [h for h in found if h.blocks]
        if blocking:
            lines = [f"{h.wrong} {h.remedy} [{h.key}]" for h in blocking]
            raise Refused(f"{plan.title} cannot start:\n  " + "\n  ".join(lines), remedy="Do what each line says.")
        self._c.exercise_count += 1
        name = f"x{self._c.exercise_count}"
        if request:
            self._c.requests[request] = name
        start = Stamp(self._c.outside.here().plus(micros(start_in_s)), 0)
        fact = ExerciseStarted(
            exercise=name,
            drill=plan.name,
            plan=plan_to_mapping(plan),
            seed=seed,
            picks=picks.targets,
            searchers=tuple(self._c.person(name) for name in searchers),
            by=self._c.person(by),
            start=start,
            conditions=self._conditions(picks, request),
        )
        await self._c.write(fact)
        return {**self._row(self._exercise(name)), "warnings": [_hindrance(h) for h in found]}

    def _conditions(self, picks: Picks, request: str) -> Row:
        return conditions_of(self._c, picks, request)

    def _exercise(self, name: str) -> Exercise:
        found = self._c.exercises.all.get(name)
        if found is None:
            known = ", ".join(self._c.exercises.all) or "none"
            raise NotFound(f"There is no exercise {name!r}.", expected=known, remedy="Name one of these.")
        return found

    def _of_any_day(self, name: str) -> Exercise:
        """An exercise in mind, or of the ledger: a season's corrections are made when there is time for them."""
        found = self._c.exercises.all.get(name) or self._c.exercises.recalled(self._c.ledger.facts(exercise=name))
        return self._exercise(name) if found is None else found

    def _row(self, exercise: Exercise) -> Row:
        return snapshot.exercise(self._c, exercise)

    async def stop(self, exercise: str, by: str) -> Row:
        """Stop an exercise: everything of it falls quiet."""
        found = self._exercise(exercise)
        if found.status in ("running", "interrupted"):
            await self._c.write(ExerciseEnded(found.id, "stopped", self._c.person(by), self._c.outside.here()))
        return self._row(self._exercise(exercise))

    async def reopen(self, exercise: str, by: str) -> Row:
        """Take back the end of an exercise: what is not found sends again under new grants."""
        found = self._exercise(exercise)
        self._may_send_again(found, ("stopped", "complete", "time-up"))
        await self._c.write(ExerciseReopened(found.id, self._c.person(by), self._c.outside.here()))
        return self._row(self._exercise(exercise))

    async def resume(self, exercise: str, by: str) -> Row:
        """Go on with an interrupted exercise: one press of a person."""
        found = self._exercise(exercise)
        self._may_send_again(found, ("interrupted",))
        here = self._c.outside.here()
        cut = next(f for f in reversed(found.facts) if isinstance(f, ExerciseInterrupted))
        gap = here.us - cut.last_known.us if here.boot == cut.last_known.boot else 0
        await self._c.write(ExerciseResumed(found.id, gap, self._c.person(by), here))
        return self._row(self._exercise(exercise))

    def _may_send_again(self, found: Exercise, states: tuple[str, ...]) -> None:
        if found.status not in states:
            raise Refused(
                f"Exercise {found.id} is {found.status}.", expected=" or ".join(states), remedy="Nothing to do."
            )
        if self._c.all_off.state.in_force:
            raise Refused("All off is in force.", remedy="A person in charge releases it: fieldctl all-off release.")
        if not self._c.day.open:
            raise Refused("The field is closed.", remedy="A person in charge opens it: fieldctl day open.")
        mine = {b.target: snapshot.label(self._c, b.target) for b in found.burials.values()}
        barred = [name for target, name in mine.items() if self._c.hearing.is_barred(target)]
        if barred:
            raise Refused(
                f"{', '.join(barred)} barred until dug out and seen to be quiet.",
                remedy="Start a new exercise with other targets.",
            )
        playing = self._c.exercises.playing_in()
        taken = {name: playing[target] for target, name in mine.items() if target in playing}
        if taken:
            names, others = ", ".join(taken), ", ".join(dict.fromkeys(taken.values()))
            raise Refused(f"{names} plays in exercise {others} now.", remedy="Stop that one first.")

    # ---- what people tap -------------------------------------------------------------------------------------

    async def call(
        self,
        exercise: str,
        by: str,
        burial: str | None = None,
        searcher: str | None = None,
        ago_s: float = 0.0,
        call: str = "",
        pressed_us: int | None = None,
        plus_minus_us: int = 0,
    ) -> Row:
        """The searcher says "here"."""
        found = self._exercise(exercise)
        self._known_burial(found, burial)
        name = call or f"{found.id}-call-{self._c.next_tap()}"
        if not any(isinstance(f, CallMade) and f.call == name for f in found.facts):
            at = tapped(self._c, ago_s, pressed_us, plus_minus_us)
            await self._c.write(
                CallMade(
                    found.id,
                    name,
                    burial,
                    searcher and self._c.person(searcher),
                    at,
                    self._c.person(by),
                    late=self._c.outside.here() - at.at > LATE_AFTER_US,
                )
            )
        return {"call": name, **self._row(self._exercise(exercise))}

    async def split(
        self,
        exercise: str,
        name: str,
        by: str,
        burial: str | None = None,
        ago_s: float = 0.0,
        split: str = "",
        pressed_us: int | None = None,
        plus_minus_us: int = 0,
    ) -> Row:
        """A moment on the way: signal, coarse, fine, airway, or a free one."""
        found = self._exercise(exercise)
        self._known_burial(found, burial)
        own = split or f"{found.id}-split-{self._c.next_tap()}"
        if not any(isinstance(f, SplitMade) and f.split == own for f in found.facts):
            at = tapped(self._c, ago_s, pressed_us, plus_minus_us)
            await self._c.write(SplitMade(found.id, own, name, burial, at, self._c.person(by)))
        return {"split": own, **self._row(self._exercise(exercise))}

    def _known_burial(self, found: Exercise, burial: str | None) -> None:
        if burial is not None and burial not in found.burials:
            names = ", ".join(found.burials)
            raise BadInput(f"{found.id} has no burial {burial!r}.", expected=names, remedy="Name one of these.")

    async def correct(
        self,
        exercise: str,
        change: str,
        about: str,
        by: str,
        why: str,
        value: str | float | None = None,
        correction: str = "",
    ) -> Row:
        """A later entry that amends an earlier one; every one can be undone."""
        found = self._of_any_day(exercise)
        fault = fault_of(change, value)
        if fault is not None:
            raise BadInput(f"This correction cannot be: {fault}.", remedy="Look at: fieldctl exercise correct --help.")
        if not why.strip():
            raise BadInput("A correction needs a reason.", remedy="Say why, in a few words.")
        if len(why) > TEXT_MOST:
            raise BadInput("The reason is too long.", expected=f"at most {TEXT_MOST} letters", remedy="Shorten it.")
        _check_value(found, change, value)
        known = _subjects(found, change)
        if about not in known:
            raise BadInput(
                f"{change} is about a {CHANGES[change]}; {found.id} has no {about!r}.",
                expected=", ".join(sorted(known)) or "nothing of that sort yet",
                remedy="Name one of these.",
            )
        name = correction or f"{found.id}-correction-{self._c.next_tap()}"
        if change == "give" and isinstance(value, str):
            value = self._c.person(value)
        if not any(isinstance(f, Corrected) and f.correction == name for f in found.facts):
            here = self._c.outside.here()
            await self._c.write(
                Corrected(found.id, name, change, about, self._c.person(by), why, here, value, next_nth(found.facts))
            )
        return {"correction": name, **self._row(self._of_any_day(exercise))}

    async def answer(self, exercise: str, question: str, answer: str, by: str) -> Row:
        """Decide something that the field asked a person."""
        found = self._exercise(exercise)
        asked = next((f for f in found.facts if isinstance(f, QuestionAsked) and f.question == question), None)
        if asked is None or question not in found.asked:
            names = ", ".join(sorted(found.asked)) or "none"
            raise BadInput(f"No open question {question!r}.", expected=names, remedy="Answer one of these.")
        if answer not in asked.choices:
            raise BadInput(
                f"{answer!r} is no answer.", expected=", ".join(asked.choices), remedy="Choose one of these."
            )
        await self._c.write(QuestionAnswered(found.id, question, answer, self._c.person(by), self._c.outside.here()))
        return self._row(self._exercise(exercise))

    async def list_all(self) -> Row:
        """Every exercise that is still in mind, oldest first."""
        return {"exercises": [self._row(e) for e in self._c.exercises.all.values()]}

    async def show(self, exercise: str) -> Row:
        """One exercise with its result so far."""
        return self._row(self._of_any_day(exercise))

    async def then(self, exercise: str) -> Row:
        """What earlier versions said of an exercise, where that would now be otherwise, and why."""
        from fieldctl.debrief.summary_kept import then_and_now
        from fieldctl.debrief.then_said import then_said
        from fieldctl.debrief.words import in_words

        found = self._of_any_day(exercise)
        rows = then_and_now(self._c.ledger, found.id)
        return {
            "exercise": found.id,
            "differs": any(row.differs for row in rows),
            "versions": [row.version for row in rows],
            "says": [in_words(sentence) for sentence in then_said(rows, self._c.people)],
        }


def _hindrance(h: Hindrance) -> Row:
    return {"key": h.key, "wrong": h.wrong, "remedy": h.remedy, "blocks": h.blocks}


def _check_value(found: Exercise, change: str, value: str | float | None) -> None:
    """BadInput for a value that no exercise could need, though its form is right."""
    match change, value:
        case "add-hit", (int() | float()) as at_s if not 0 <= at_s <= HIT_MOST_S:
            raise BadInput(
                f"A hit at {at_s:g} s cannot be.",
                expected=f"0 to {HIT_MOST_S} s since the start",
                remedy="Read it off the clock of the exercise.",
            )
        case "shift-start", (int() | float()) as by_s if abs(by_s) > SHIFT_MOST_S:
            raise BadInput(
                f"A start cannot be shifted by {by_s:g} s.",
                expected=f"at most {SHIFT_MOST_S} s, later or earlier",
                remedy="Name such; less than 0 is earlier.",
            )
        case "give", str(name) if not 1 <= len(name.strip()) <= NAME_MOST:
            raise BadInput(
                f"{name.strip()[:NAME_MOST]!r} is no name for a person.",
                expected=f"1 to {NAME_MOST} letters",
                remedy="Give one.",
            )
        case (("place-call" | "merge"), str(other)):
            names = set(found.burials) if change == "place-call" else _subjects(found, change)
            if other not in names:
                raise BadInput(
                    f"{found.id} has no {other!r}.",
                    expected=", ".join(sorted(names)) or "nothing of that sort yet",
                    remedy="Name one of these.",
                )


def _subjects(found: Exercise, change: str) -> set[str]:
    """What a change can be about in this exercise."""
    strikes = {strike_id(f) for f in found.facts if isinstance(f, StrikeRecorded)}
    calls = {f.call for f in found.facts if isinstance(f, CallMade)}
    splits = {f.split for f in found.facts if isinstance(f, SplitMade)}
    table: dict[str, set[str]] = {
        "void": strikes | calls | splits,
        "judge": strikes,
        "merge": strikes,
        "add-hit": set(found.burials),
        "place-call": calls,
        "give": set(found.burials),
        "shift-start": {found.id},
        "undo": {f.correction for f in found.facts if isinstance(f, Corrected)},
    }
    return table[change]
