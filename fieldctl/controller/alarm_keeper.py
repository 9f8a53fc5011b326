"""Alarms of the running field: readings taken in, raised and cleared as facts, told to the webhook once committed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.alarms import (
    MENDED_BY_CLEARING,
    RULES,
    UPKEEP,
    Alarm,
    Found,
    Key,
    Latched,
    Rule,
    Said,
    Watch,
    account_changes,
    after,
    key_of,
    step,
)
from fieldctl.controller.known import NOT_HEARD_AFTER_US, OVERDUE_AFTER_US, Known
from fieldctl.events import FIELD, AlarmCleared, AlarmRaised, Fact, TargetBarred, TargetCleared
from fieldctl.ready import CLOCK_LIMIT_US
from fieldctl.units import HostUs, PersonId, TargetId
from fieldctl.wire.messages import Flags

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.entry import Entry

TO_DO = " To do: "

Row = dict[str, Any]


class AlarmKeeper:
    """What is in force, and the readings that lead there."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.latched = Latched()
        self._watch: dict[Key, Watch] = defaultdict(Watch)
        self._taken: dict[TargetId, HostUs] = {}  # when each target's last reading was said
        self._odd: dict[Key, str] = {}  # what was said to be odd since its last reading, in words
        self._on_the_way: set[Key] = set()  # handed to the pen
        self._up_since: dict[str, HostUs] = {}  # links
        self._sick: frozenset[TargetId | None] = frozenset()

    def load(self, latched: Latched) -> None:
        """Take what is in force, as the ledger knows it."""
        self.latched = latched
        self._sick = frozenset(alarm.fact.target for alarm in latched.in_force.values() if alarm.fact.fault)

    # ---- readings ------------------------------------------------------------------------------------------------

    def odd(self, known: Known, what: str, detail: str) -> None:
        """Something odd was seen of a target: a bad reading of that kind."""
        self._odd[known.target, what] = detail

    def look(self, targets: list[Known], now: HostUs) -> None:
        """Take the readings of these targets, and of the links."""
        for name, line in self._c.lines.items():
            self._link(name, line.link is not None, len(line.members), now)
        for known in targets:
            self._silence(known, now)
            self._take_odd(known, now)
            if known.heard_us is not None and known.heard_us != self._taken.get(known.target):
                self._taken[known.target] = known.heard_us
                self._heard(known, now)
        for about, what in [key for key in self.latched.in_force if not self._belongs(key)]:
            self._clear(self.latched.in_force[about, what], FIELD, "it was taken out of the field")

    def _belongs(self, key: Key) -> bool:
        """Whether an alarm is still of this field; one that sends unasked stays on the list wherever it is."""
        about, what = key
        there = about.removeprefix("link:") in self._c.lines if about.startswith("link:") else about in self._c.known
        return there or what in ("gate-on", "barred")

    def _link(self, name: str, up: bool, members: int, now: HostUs) -> None:
        if not up:
            self._up_since.pop(name, None)
        else:
            self._up_since.setdefault(name, now)
        said: Said = "good" if up else "bad" if members else None
        self._take((f"link:{name}", "link-down"), RULES["link-down"], said, now, {"name": name})

    def _silence(self, known: Known, now: HostUs) -> None:
        """What the clock says of a target that says nothing; of one whose link is down it is the link that is told."""
        up_since = self._up_since.get(known.line)
        silent = up_since is not None and known.life(now) != "asleep"
        age = now - max(known.heard_us or 0, up_since or 0)
        told = (str(known.target), "overdue") in self.latched.in_force  # the same silence is one alarm
        table: tuple[tuple[str, bool], ...] = (
            ("overdue", silent and self._c.day.open and age > OVERDUE_AFTER_US),
            ("not-heard", silent and age > NOT_HEARD_AFTER_US and not told),
        )
        for what, bad in table:
            key = (str(known.target), what)
            if bad:
                self._take(key, RULES[what], "bad", now, self._values(known.target))
            elif key not in self.latched.in_force:
                self._watch.pop(key, None)

    def _take_odd(self, known: Known, now: HostUs) -> None:
        for key in [key for key in self._odd if key[0] == known.target]:
            rule = RULES.get(key[1]) or _of_words(key[1], self._odd[key])
            self._take(key, rule, "bad", now, self._values(known.target))

    def _heard(self, known: Known, now: HostUs) -> None:
        """The readings that came with the last thing that a target said; what was odd of it is no good one."""
        low = bool(known.flags & Flags.BATTERY_LOW)
        readings: dict[str, Said] = {"overdue": "good", "not-heard": "good", "battery": "bad" if low else "good"}
        for about, what in self.latched.in_force:
            if about == known.target and what not in readings:
                readings[what] = self._well(known, what, now)
        for what, said in readings.items():
            if self._odd.pop((known.target, what), None) is None:
                rule = RULES.get(what) or _of_words(what, "")
                self._take((known.target, what), rule, said, now, self._values(known.target))
        for key in [key for key in self._odd if key[0] == known.target]:
            del self._odd[key]

    def _well(self, known: Known, what: str, now: HostUs) -> Said:
        """Whether what a target said last is a good reading of this kind; None where it tells nothing of it."""
        match what:
            case "gate-on":
                return "good" if known.says_quiet() else None
            case "clock":
                width = snapshot.clock_width_us(known, now)
                limit = CLOCK_LIMIT_US.get(self._c.lines[known.line].kind, CLOCK_LIMIT_US["mqtt"])
                return "good" if width is not None and width <= limit else None
            case "superseded":
                return (
                    "good" if known.generation is not None and known.generation <= self._c.grants.generation else None
                )
            case "two-with-one-id":
                added = self._c.added[known.target]
                return "good" if known.greeting and known.greeting.hardware.hex() == added.hardware else None
            case "barred":
                return None  # a person digs it out and says so
            case _:
                return None if what.startswith(UPKEEP) else "good"

    def _take(self, key: Key, rule: Rule, said: Said, now: HostUs, values: Row) -> None:
        held = self.latched.in_force.get(key)
        self._watch[key], change = step(self._watch[key], rule, said, now, in_force=held is not None)
        if key in self._on_the_way:
            return
        if change == "raise":
            self._raise(key, rule.sentence.format(**values), rule.remedy, values, fault=rule.fault)
        elif change == "clear" and held is not None:
            self._clear(held, FIELD, "a good reading came")

    def _values(self, target: TargetId) -> Row:
        return {"name": snapshot.label(self._c, target)}

    # ---- the account ---------------------------------------------------------------------------------------------

    def account(self, found: Collection[Found]) -> None:
        """What the upkeep account of the field says now."""
        now = self._c.outside.clock.now()
        alive = {known.target for known in self._c.known.values() if known.life(now) == "online"}
        today = (self._c.outside.clock.wall() or "")[:10]
        new, gone = account_changes(self.latched, found, alive, today)
        for one in new:
            if one.target in self._c.known:
                self._raise(one.of, one.sentence, one.remedy, dict(one.values), fault=one.fault)
        for alarm in gone:
            self._clear(alarm, FIELD, "the account shows it no more")

    # ---- facts ---------------------------------------------------------------------------------------------------

    def _raise(self, key: Key, sentence: str, remedy: str, values: Row, *, fault: bool) -> None:
        if key in self._on_the_way:
            return
        self._on_the_way.add(key)
        about, what = key
        target, link = (None, about[5:]) if about.startswith("link:") else (TargetId(about), "")
        self._c.pen.write(AlarmRaised(target, link, what, sentence, remedy, self._c.outside.here(), values, fault))

    def _clear(self, alarm: Alarm, by: PersonId, reason: str) -> None:
        key = key_of(alarm.fact)
        if key in self._on_the_way:
            return
        self._on_the_way.add(key)
        self._c.pen.write(self.cleared(alarm, by, reason))

    def cleared(self, alarm: Alarm, by: PersonId, reason: str) -> AlarmCleared:
        """The fact that ends an alarm; it ends nothing else: what is barred stays so."""
        fact = alarm.fact
        return AlarmCleared(fact.target, fact.link, fact.what, by, reason, self._c.outside.here())

    def committed(self, entry: Entry) -> None:
        """Take up what was committed; bars raise an alarm, a target that was dug out and seen quiet ends its own."""
        fact: Fact = entry.fact
        latched = after(self.latched, entry)
        if latched is not self.latched:
            self.load(latched)
        match fact:
            case AlarmRaised() | AlarmCleared():
                key = key_of(fact)
                self._on_the_way.discard(key)
                self._watch.pop(key, None)
                if isinstance(fact, AlarmCleared) and fact.target is not None:
                    self._c.hearing.odd_now.pop((fact.target, fact.what), None)
                self._c.hook.committed(entry)
            case TargetBarred() if (fact.target, "barred") not in self.latched.in_force:
                rule, values = RULES["barred"], self._values(fact.target)
                self._raise((fact.target, "barred"), rule.sentence.format(**values), rule.remedy, values, fault=False)
            case TargetCleared():
                for alarm in self.latched.of(fact.target):
                    if alarm.fact.what in MENDED_BY_CLEARING:
                        self._clear(alarm, fact.by, fact.reason)

    def faulty(self, target: TargetId) -> bool:
        """Whether an alarm in force says that the target itself is sick."""
        return target in self._sick

    def rows(self) -> list[Row]:
        """What is in force, what matters most first."""
        return [row(self._c, alarm) for alarm in self.latched.listed()]


def row(c: Controller, alarm: Alarm) -> Row:
    """One alarm as it is shown."""
    fact = alarm.fact
    here = fact.at.boot == c.outside.clock.boot
    return {
        "target": fact.target,
        "link": fact.link,
        "name": fact.link if fact.target is None else snapshot.label(c, fact.target),
        "what": fact.what,
        "says": fact.sentence,
        "remedy": fact.remedy,
        "fault": fact.fault,
        "values": dict(fact.values),
        "since": alarm.wall,
        "since_us": fact.at.us if here else None,
    }


def _of_words(what: str, detail: str) -> Rule:
    """A kind that this table does not know, in the words with which it was said to be odd."""
    sentence, _, remedy = detail.replace("{", "(").replace("}", ")").partition(TO_DO)
    return Rule(what, f"{{name}}: {sentence}", remedy or "Look at it on the next visit.", good_for_s=600.0, fault=True)
