"""Permission to send: committed first, then sent, renewed at a third of its life, never past its hard limit.

A lease is the controller's side of a grant. It is never assumed to have ended before its end could have passed: what a
target did not confirm counts as possibly sending until then, and is shown so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from fieldctl.controller.known import Known
from fieldctl.controller.pen import Pen
from fieldctl.controller.ports import Outside
from fieldctl.events import Fact, GrantEnded, GrantGiven, SignalOff, SignalOn
from fieldctl.keying import Keying
from fieldctl.units import US_PER_S, BootId, HostTime, HostUs, NodeTicks, Stamp, micros
from fieldctl.wire.messages import Flags, Grant, Message, Quiet, Renew
from fieldctl.wire.session import Ended

ORDER_LIVES_US = 4 * US_PER_S  # a grant that could not be delivered in this time is ordered anew for a later moment
STARTS_WITHIN_US = 2 * US_PER_S  # after its moment a granted target has to say that it sends
LEDGER_FRESH_US = 10 * US_PER_S  # no renewal without a commit within this time

WAITING_MAX = 4  # orders of a target: with more on their way a grant would only be late

State = Literal["writing", "ordered", "held", "ending"]


@dataclass(frozen=True, slots=True)
class Wish:
    """What somebody wants to send: for an exercise's burial, or to find a target again."""

    known: Known
    purpose: str
    exercise: str | None
    burial: str | None
    from_us: int
    limit_us: int
    keying: Keying
    level: int = 100
    drop_on_s: float = 0.0
    drop_off_s: float = 0.0


@dataclass(slots=True)
class Lease:
    """One grant as the controller sees it; times are host µs, the latest possible."""

    grant: int
    wish: Wish
    boot: int
    until_us: int
    state: State = "writing"
    began: Stamp | None = None
    renew_due_us: int = 0
    renewing: bool = False
    wanted_end: str = ""
    ending_order: bool = False


Post = Callable[[Known, Message, int, str], int | None]
"""Post an order: target, message, expiry, what it is for; gives its handle, None when it could not be queued."""


class Grants:
    """All leases, by grant id."""

    def __init__(self, outside: Outside, pen: Pen, post: Post, last_commit: Callable[[], int | None]) -> None:
        self._outside = outside
        self._pen = pen
        self._post = post
        self._last_commit = last_commit
        self.leases: dict[int, Lease] = {}
        self.next_id = 1
        self.epoch = 0
        self.generation = 1
        self.all_off_in_force = False  # kept by the AllOffKeeper: nothing is granted or renewed meanwhile
        self.starved = 0  # renewals that were held back because the ledger had not committed lately

    @property
    def lease_us(self) -> int:
        """How long a grant lasts unrenewed."""
        return self._outside.site.grant_s * US_PER_S

    def of(self, known: Known) -> Iterator[Lease]:
        """The leases of one target."""
        return (lease for lease in list(self.leases.values()) if lease.wish.known is known)

    def lease_of(self, exercise: str, burial: str) -> Lease | None:
        """The lease of a burial, if it has one."""
        for lease in self.leases.values():
            if lease.wish.exercise == exercise and lease.wish.burial == burial:
                return lease
        return None

    # ---- giving ----------------------------------------------------------------------------------------------

    def give(self, wish: Wish, lead_us: int) -> bool:
        """Commit and order a grant; False when it cannot be now (all off, not heard, clock unknown), so try again."""
        if self.all_off_in_force:
            return False
        known = wish.known
        now = self._outside.clock.now()
        clock = known.clock.of(BootId(known.boot)) if known.boot is not None else None
        if known.session.state != "open" or clock is None or known.greeting is None:
            return False
        if known.life(now) != "online" or known.session.waiting >= WAITING_MAX:
            return False
        from_us = max(wish.from_us, now + lead_us)
        if from_us >= wish.limit_us:
            return False
        begins = clock.to_ticks(HostUs(from_us))
        if begins is None:
            return False
        from_ticks = begins[0]
        limit_ticks = from_ticks + (wish.limit_us - from_us)
        until_ticks = min(from_ticks + self.lease_us, limit_ticks)
        grant, self.next_id = self.next_id, self.next_id + 1
        boot = self._outside.clock.boot
        assert known.boot is not None
        fact = GrantGiven(
            grant=grant,
            target=known.target,
            purpose=wish.purpose,
            exercise=wish.exercise,
            burial=wish.burial,
            boot=BootId(known.boot),
            from_ticks=from_ticks,
            until_ticks=NodeTicks(until_ticks),
            limit_ticks=NodeTicks(limit_ticks),
            limit_at=HostTime(boot, wish.limit_us),
            period_ms=wish.keying.period_ms,
            on_ms=wish.keying.on_ms,
            level=wish.level,
            epoch=self.epoch,
            generation=self.generation,
            drop_on_s=wish.drop_on_s,
            drop_off_s=wish.drop_off_s,
        )
        until_us = min(from_us + self.lease_us, wish.limit_us)
        lease = Lease(grant, wish, known.boot, until_us, renew_due_us=from_us + self.lease_us // 3)
        self.leases[grant] = lease
        self._pen.write(fact, then=lambda _entries: self._order(lease, fact))
        return True

    def _order(self, lease: Lease, fact: GrantGiven) -> None:
        if lease.grant not in self.leases or lease.state != "writing" or self.all_off_in_force:
            return  # all off came between the commit and this
        lease.state = "ordered"
        order = Grant(
            boot=fact.boot,
            generation=fact.generation,
            epoch=fact.epoch,
            grant_id=fact.grant,
            from_=fact.from_ticks,
            until=fact.until_ticks,
            limit=fact.limit_ticks,
            period=fact.period_ms,
            on=fact.on_ms,
            level=fact.level,
            drop_on=round(fact.drop_on_s * 10),
            drop_off=round(fact.drop_off_s * 10),
        )
        expires = self._outside.clock.now() + ORDER_LIVES_US
        if self._post(lease.wish.known, order, expires, f"grant {fact.grant}") is None:
            self._over(lease, "lost")

    def restore(self, fact: GrantGiven, known: Known, *, began: bool, until_us: int) -> None:
        """Take up a grant that an earlier controller gave: it goes on only if the target says that it holds it."""
        wish = Wish(
            known,
            fact.purpose,
            fact.exercise,
            fact.burial,
            self._outside.clock.now(),
            fact.limit_at.us,
            Keying(fact.period_ms, fact.on_ms),
            fact.level,
            fact.drop_on_s,
            fact.drop_off_s,
        )
        here = self._outside.here()
        self.leases[fact.grant] = Lease(
            fact.grant,
            wish,
            fact.boot,
            until_us,
            state="held",
            began=Stamp(here, 0) if began else None,
            renew_due_us=self._outside.clock.now(),
        )

    def close_unknown(self, given: Iterable[GrantGiven]) -> None:
        """End in the ledger what an earlier controller gave and nobody goes on with; it runs out by itself."""
        here = self._outside.here()
        for fact in given:
            if fact.grant not in self.leases:
                self._pen.write(GrantEnded(fact.grant, fact.target, "ran-out", here))

    # ---- going on --------------------------------------------------------------------------------------------

    def tick(self, now: int) -> None:
        """Renew what is due, end what ran out."""
        for lease in list(self.leases.values()):
            if now >= lease.until_us:
                self._over(lease, "limit" if lease.until_us >= lease.wish.limit_us else "ran-out")
            elif lease.state == "ending" and not lease.ending_order:
                self._order_end(lease)
            elif lease.state == "held" and lease.began and not lease.renewing and now >= lease.renew_due_us:
                self._renew(lease, now)

    def _renew(self, lease: Lease, now: int) -> None:
        if lease.until_us >= lease.wish.limit_us:
            return
        last = self._last_commit()
        if last is None or now - last > LEDGER_FRESH_US:
            self.starved += 1
            lease.renew_due_us = now + US_PER_S
            return
        known = lease.wish.known
        clock = known.clock.of(BootId(lease.boot))
        ends = None if clock is None else clock.to_ticks(HostUs(min(now + self.lease_us, lease.wish.limit_us)))
        if ends is None or known.session.state != "open":
            lease.renew_due_us = now + US_PER_S // 2
            return
        # the hard limit in ticks was fixed when the grant was given; a clock that ran slow meanwhile must not pass it
        until_ticks = ends[0] - ends[1]
        order = Renew(lease.boot, self.generation, self.epoch, lease.grant, until_ticks)
        lease.renewing = self._post(known, order, now + self.lease_us // 3, f"renew {lease.grant}") is not None
        lease.renew_due_us = now + self.lease_us // 3

    def heard(self, known: Known) -> None:
        """A target said what it holds: begun, gone, or something that nobody here gave."""
        now = self._outside.clock.now()
        mine = False
        for lease in self.of(known):
            if lease.state == "writing":
                continue
            if known.grant_id == lease.grant and known.boot == lease.boot:
                mine = True
                if lease.state == "ordered":
                    lease.state = "held"
                if known.since_ticks and lease.began is None:
                    self._began(lease)
            elif known.boot != lease.boot:
                self._over(lease, "rebooted")
            elif lease.state == "held" and (lease.began or now > lease.wish.from_us + STARTS_WITHIN_US):
                self._over(lease, "gone")
        foreign = known.grant_id and not mine and known.grant_id not in self.leases
        if foreign and not known.session.waiting and not known.obeys_another(self.generation):
            self._post(known, Quiet(0, self.generation, 0), now + ORDER_LIVES_US, "quiet: a grant of nobody here")

    def _began(self, lease: Lease) -> None:
        known = lease.wish.known
        stamped = known.clock.to_host(BootId(lease.boot), NodeTicks(known.since_ticks))
        if stamped is None:
            return
        lease.began = Stamp(HostTime(self._outside.clock.boot, stamped[0]), stamped[1])
        if lease.wish.exercise and lease.wish.burial:
            self._pen.write(SignalOn(lease.wish.exercise, lease.wish.burial, known.target, lease.grant, lease.began))

    # ---- ending ----------------------------------------------------------------------------------------------

    def end(self, lease: Lease, why: str) -> None:
        """Switch a grant off and see it confirmed; until then it counts as possibly sending."""
        lease.wanted_end = lease.wanted_end or why
        if lease.state == "writing":
            self._over(lease, why)
        else:
            lease.state = "ending"
            self._order_end(lease)

    def _order_end(self, lease: Lease) -> None:
        now = self._outside.clock.now()
        order = Quiet(0, self.generation, lease.grant)
        lease.ending_order = (
            self._post(lease.wish.known, order, now + ORDER_LIVES_US, f"quiet {lease.grant}") is not None
        )

    def order_ended(self, known: Known, ended: Ended) -> None:
        """What became of an order about a grant."""
        message = ended.order.message
        grant = getattr(message, "grant_id", 0)
        lease = self.leases.get(grant)
        if lease is None or lease.wish.known is not known:
            return
        match message:
            case Grant():
                self._grant_ended(lease, ended)
            case Renew():
                self._renewal_ended(lease, message, ended)
            case Quiet():
                self._quiet_ended(lease, ended)

    def _grant_ended(self, lease: Lease, ended: Ended) -> None:
        if ended.verdict == "done":
            if lease.state == "ordered":
                lease.state = "held"
        elif ended.verdict in ("late", "refused", "superseded"):
            self._over(lease, ended.verdict)
        elif lease.state == "ordered":  # it may have arrived: what the target says next tells, or its end
            self._over(lease, "lost")

    def _renewal_ended(self, lease: Lease, order: Renew, ended: Ended) -> None:
        lease.renewing = False
        now = self._outside.clock.now()
        if ended.verdict in ("done", "lost"):  # a lost one may have arrived, so it may send until then
            stamped = lease.wish.known.clock.to_host(BootId(lease.boot), NodeTicks(order.until))
            if stamped is not None:
                lease.until_us = max(lease.until_us, min(stamped[0] + stamped[1], lease.wish.limit_us))
        if ended.verdict in ("lost", "expired"):
            lease.renew_due_us = now
        elif ended.verdict in ("refused", "superseded", "late") and lease.state == "held":
            self._over(lease, "gone" if ended.verdict != "superseded" else "superseded")

    def _quiet_ended(self, lease: Lease, ended: Ended) -> None:
        lease.ending_order = False
        if ended.verdict in ("done", "refused"):  # refused: it holds no such grant any more
            flags = getattr(ended.answer, "flags", 0)
            if not flags & Flags.GATE_ON:
                self._over(lease, lease.wanted_end)

    def all_off(self) -> list[Lease]:
        """Give up every lease at once; the caller keeps what may still send on its list."""
        gone = list(self.leases.values())
        for lease in gone:
            self._over(lease, "all-off")
        return gone

    def _over(self, lease: Lease, why: str) -> None:
        self.leases.pop(lease.grant, None)
        here = self._outside.here()
        facts: list[Fact] = []
        if lease.began is not None and lease.wish.exercise and lease.wish.burial:
            facts.append(
                SignalOff(
                    lease.wish.exercise,
                    lease.wish.burial,
                    lease.wish.known.target,
                    lease.grant,
                    self._ended_at(lease, why, here),
                    why,
                )
            )
        facts.append(GrantEnded(lease.grant, lease.wish.known.target, why, here))
        self._pen.write(*facts)

    def _ended_at(self, lease: Lease, why: str, here: HostTime) -> Stamp:
        """When a signal ended: between the last word that it was on and now, as far as anybody knows."""
        heard = lease.wish.known.heard_us
        if why == "limit":
            return Stamp(HostTime(here.boot, min(lease.until_us, here.us)), micros(0.05))
        if heard is None or heard >= here.us:
            return Stamp(here, micros(0.5))
        half = (here.us - heard + 1) // 2
        return Stamp(HostTime(here.boot, heard + half), half + micros(0.25))
