"""The one list of requirements, in the order in which they are tried and numbered.

id       stable; the compile-time switch that breaks it is BREAK_<ID> (capitals, _ for -)
words    the contract's words
breaks   what a build with that switch does wrong, and nothing else
needs    abilities without which it is not applicable
medium   "bus" or "radio" where it says nothing about the other
door     what the port's side door has to offer, or the operator's hand
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fieldctl.wire.fields import Ability

PAD, TX, SLEEP, BUTTON = Ability.PAD, Ability.TRANSMITTER, Ability.SLEEP, Ability.BUTTON


@dataclass(frozen=True, slots=True)
class Requirement:
    """One row of the list."""

    id: str
    words: str
    breaks: str
    needs: Ability = Ability(0)
    medium: Literal["", "bus", "radio"] = ""
    door: tuple[str, ...] = ()

    @property
    def switch(self) -> str:
        """The compile-time switch of the build that breaks it."""
        return "BREAK_" + self.id.upper().replace("-", "_")


R = Requirement
REQUIREMENTS: tuple[Requirement, ...] = (
    # ---- the line
    R(
        "framing-junk",
        "Junk costs one search for the next 0x00: the frame after it is heard.",
        "after a piece that is no COBS or whose sum is wrong, the next frame is lost too",
        medium="bus",
    ),
    R(
        "framing-half",
        "Each burst begins with 0x00: half a frame that was left on the line ends there.",
        "a 0x00 after half a frame does not end it: what follows is taken for its rest",
        medium="bus",
    ),
    R(
        "framing-zeros",
        "Several 0x00 in a row are nothing: the frame after them is heard.",
        "an empty piece between two 0x00 makes the next frame be lost",
        medium="bus",
    ),
    R(
        "framing-long",
        "A piece longer than the longest frame (128 bytes) is passed over; the next frame is heard.",
        "after an over-long piece it hears nothing for a second",
        medium="bus",
    ),
    R(
        "framing-longest",
        "The longest body of the contract (104 bytes) is taken.",
        "a body of more than 96 bytes is dropped",
    ),
    R(
        "framing-two",
        "Two frames that come in one read are both taken.",
        "of two frames in one read it takes only the first",
        medium="bus",
    ),
    R(
        "framing-sum",
        "A frame whose CRC-16 is wrong is nothing.",
        "it does not compare the second byte of the CRC",
        medium="bus",
    ),
    R(
        "framing-answer",
        "What it says is one burst: 0x00, COBS of payload and CRC-16, 0x00.",
        "its bursts lack the first 0x00",
        medium="bus",
    ),
    R(
        "bus-silent",
        "On a bus nobody speaks unasked.",
        "it says its status by itself about once a second",
        medium="bus",
    ),
    R("bus-address", "What is meant for another target is not answered.", "it answers tokens for any address"),
    R(
        "losses-counted",
        "What is no frame or no message is counted, and the report says how often.",
        "its report always says 0 bad frames",
    ),
    # ---- the seal
    R(
        "seal-tag",
        "The whole tag is checked: an order with any of its eight bytes changed is nothing.",
        "it compares only the first seven bytes of the tag",
    ),
    R("seal-body", "The tag covers the whole body.", "the tag that it checks leaves out the last byte of the body"),
    R("seal-counter", "The tag covers the counter.", "the tag that it checks takes the counter for 0"),
    R(
        "seal-direction",
        "The tag covers the direction: what is sealed as a target's word is no order.",
        "it also takes a tag made for the direction up",
    ),
    R(
        "seal-target",
        "The tag covers the target: what is sealed for another one is no order here.",
        "it also takes a tag made for the address before its own",
    ),
    R(
        "seal-alloff-key",
        "The all-off key can do nothing but switch off.",
        "it also takes orders sealed with the all-off key",
    ),
    R(
        "seal-answers",
        "What it says is sealed with its own key, in its own name.",
        "the tag of a greeting is wrong in its last byte",
    ),
    R(
        "seal-rising",
        "The counters of what it says rise and never come twice.",
        "every report goes out under the counter of the message before",
    ),
    # ---- replay
    R(
        "replay-cached",
        "The same order under the same counter is answered from the cache and carried out once.",
        "it carries a repeated order out again",
    ),
    R(
        "replay-older",
        "An order under a counter that was taken before the last one is nothing.",
        "it takes counters again that are older than the last one but two",
    ),
    R(
        "replay-overtaken",
        "On a bus the counter only rises: one that was left out is not taken later.",
        "it takes the counter just below its highest",
        medium="bus",
    ),
    R(
        "replay-window",
        "Over radio an order that was overtaken is taken, up to 31 counters behind, and once.",
        "it takes only counters that rise, over radio too",
        medium="radio",
    ),
    R(
        "counters-asked",
        "Asked with a nonce, it answers with that nonce and the highest counter that it has taken.",
        "the nonce that comes back is not the one that was sent",
    ),
    R(
        "counters-high",
        "The highest counter that it names is never below one that it has taken.",
        "it names a highest counter one too low",
    ),
    R(
        "counters-form",
        "In the form of the question for counters nothing but that question is taken.",
        "it carries out any order that comes in that form",
    ),
    R(
        "counters-kept",
        "Counters are written ahead of use: after a loss of power none is taken or used again.",
        "the counters that it takes are not kept over a loss of power",
        door=("power",),
    ),
    # ---- the contract
    R(
        "greeting",
        "Asked who it is, it names itself: hardware, firmware, boot and key version agree with all else.",
        "the last four bytes of its hardware id are not its address",
    ),
    R(
        "contract-version",
        "It speaks the version of the contract that this program speaks.",
        "it says a contract version one higher",
    ),
    R(
        "abilities-true",
        "What it declares it does, what it does not declare it refuses as no ability.",
        "it declares a button that it lacks, and refuses Sleep though it declares it",
    ),
    R(
        "report",
        "Asked how it is, it reports: generation, epoch and grant as latched, battery and kelvin that can be.",
        "its report names epoch 0",
    ),
    R(
        "turnaround",
        "It answers no sooner than the turnaround that it declares.",
        "it declares a turnaround of 20 ms and answers sooner",
        medium="bus",
    ),
    R(
        "unknown-keys",
        "Keys appended by a later contract are passed over.",
        "a body with a key that it does not know is dropped",
    ),
    R("unknown-kind", "A kind that it does not know is nothing.", "it answers a sealed message of an unknown kind"),
    R(
        "ill-formed",
        "A body out of order, with a key missing or of another type is nothing.",
        "it takes a Quiet that lacks its grant id",
    ),
    # ---- orders
    R("generation", "A lower generation than the highest seen is answered superseded.", "it obeys any generation"),
    R("epoch-older", "Orders of an older all-off epoch are refused.", "it obeys any epoch", TX),
    R("other-boot", "An order that names another boot is refused.", "it does not look at the boot of a grant", TX),
    R(
        "late",
        "A grant that comes after its begin is answered late, by how much, and starts nothing.",
        "it says late by 0",
        TX,
    ),
    R(
        "expiry",
        "An order whose end has passed starts nothing, whenever it comes.",
        "it answers a grant that is over with done",
        TX,
    ),
    R(
        "empty",
        "A grant whose end is not after its begin is refused as empty.",
        "it answers an empty grant with done, and holds none",
        TX,
    ),
    R(
        "lease-too-long",
        "Nothing sends longer than 120 s unrenewed: such an order is refused.",
        "it takes a lease of any length",
        TX,
    ),
    R(
        "limit",
        "A grant past its own hard limit, or of more than 4 h, is refused.",
        "it does not compare end and limit of a grant",
        TX,
    ),
    R("limit-renew", "A renewal past the hard limit is refused.", "it does not compare a renewal with the limit", TX),
    R(
        "keying-refused",
        "A pattern outside EN 300 718-1 is refused, one millisecond beyond each corner.",
        "it takes an on-time of 69 ms",
        TX,
    ),
    R("keying-legal", "Every legal corner of EN 300 718-1 is taken.", "it refuses a period of 1300 ms", TX),
    R(
        "grant-begins",
        "It sends from the ordered tick on and says so: granted, gate, which grant and since when.",
        "its status names no grant",
        TX,
    ),
    R(
        "grant-runs-out",
        "With the controller gone, sending ends at the tick that the grant names.",
        "it sends on for 3 s after the end of its grant",
        TX,
    ),
    R(
        "grant-renewed",
        "A renewal lets it send on; one that was overtaken shortens nothing.",
        "an older renewal shortens the grant",
        TX,
    ),
    R("grant-dropping-out", "A signal that drops out is on and off as the grant says.", "it does not drop out", TX),
    R(
        "renew-starts-nothing",
        "A renewal of a grant that has run out, or of another one, is refused.",
        "a renewal after the end of its grant lets it send again",
        TX,
    ),
    R("quiet", "Quiet ends a grant at once.", "Quiet is answered with done and the grant goes on", TX),
    R(
        "quiet-tick",
        "Quiet at a tick ends a grant at that tick, and nothing renews it beyond.",
        "Quiet at a later tick does nothing",
        TX,
    ),
    R("quiet-other", "Quiet for a grant that it does not hold is refused.", "Quiet for another grant ends its own", TX),
    # ---- all off
    R(
        "alloff-answered",
        "All off under its own key is answered with the epoch and the gate read back off.",
        "the answer to all off names the epoch before",
    ),
    R(
        "alloff-everybody",
        "All off under the all-off key is obeyed from every state, latched, and not answered.",
        "it obeys all off for everybody only while it does not send",
        TX,
    ),
    R(
        "alloff-forged",
        "All off with a wrong tag, or another epoch inside, is nothing.",
        "it does not compare the epoch inside with the one outside",
    ),
    R(
        "alloff-recorded",
        "An all off that was released is a recording: heard again it changes nothing.",
        "it obeys an all off of a released epoch",
        TX,
    ),
    R(
        "alloff-released",
        "All off stays until a newer order is accepted under its epoch.",
        "the flag for all off goes out with the next question",
    ),
    R(
        "retained",
        "An order that arrives as a retained message is refused.",
        "it obeys retained orders",
        medium="radio",
    ),
    # ---- the gate
    R(
        "gate-read-back",
        "The gate is read back: with it stuck it says so, refuses grants, and is not confirmed off.",
        "it says of its gate what was ordered",
        TX,
        door=("stuck",),
    ),
    R(
        "gate-inside-grant",
        "The carrier is on inside the grant and at no other time.",
        "the last pulse runs on for half a second after the end of the grant",
        TX,
        door=("gate",),
    ),
    R(
        "keying-measured",
        "Each pulse and each period is as ordered, to a millisecond, at every legal corner.",
        "every pulse lasts 5 ms too long",
        TX,
        door=("gate",),
    ),
    R(
        "battery",
        "With a battery too weak it refuses to send and says so.",
        "it does not look at its battery",
        TX,
        door=("battery",),
    ),
    # ---- the clock
    R(
        "clock-monotonic",
        "Its ticks never go back or leap within a boot.",
        "its ticks leap back by 20 ms about every second",
    ),
    R("clock-drift", "Its clock runs within 150 parts in a million.", "its clock runs 1500 parts in a million fast"),
    # ---- its life
    R(
        "survives-junk",
        "Whatever arrives, it stays alive in the same boot, does not send, and answers.",
        "it reboots after sealed bodies that are no map",
    ),
    R(
        "sleep",
        "Asleep it holds no grant, wakes to its address within the ordered time, and says so before.",
        "asleep it does not wake before the end of its sleep",
        SLEEP,
    ),
    R(
        "reboot-named",
        "A reboot has a boot id of its own, higher than the last, and says why.",
        "its boot id stays the same over a reboot",
        door=("reboot",),
    ),
    R(
        "reboot-quiet",
        "A reboot ends every grant: nothing sends because of it.",
        "it goes on with its grant after a reboot",
        TX,
        door=("reboot",),
    ),
    R(
        "reboot-order-in-flight",
        "An order made before a reboot and heard after it is refused.",
        "after a reboot it takes orders of the boot before",
        TX,
        door=("reboot",),
    ),
    R(
        "generation-kept",
        "The generation is latched over a loss of power.",
        "it forgets the generation when the power goes",
        door=("power",),
    ),
    R(
        "alloff-kept",
        "All off and its epoch are latched over a loss of power.",
        "it forgets that all off is latched when the power goes",
        door=("power",),
    ),
    # ---- the pad
    R(
        "arming",
        "A pad that is not armed notices nothing; armed it does, and says so.",
        "it logs strikes though it is not armed",
        PAD,
        door=("touch",),
    ),
    R(
        "strike-numbered",
        "Strikes are numbered from 1 within a boot, oldest first, and say how many wait.",
        "its strikes are numbered from 0",
        PAD,
        door=("touch",),
    ),
    R(
        "strike-stamped",
        "A strike is stamped with the target's own ticks when it happened.",
        "a strike is stamped when it is first told, not when it happened",
        PAD,
        door=("touch",),
    ),
    R(
        "strike-resent",
        "A strike is told again until it is acknowledged.",
        "a strike is told twice and then forgotten",
        PAD,
        door=("touch",),
    ),
    R(
        "strike-acknowledged-singly",
        "An acknowledgement takes out that strike of that boot and no other.",
        "an acknowledgement also takes out the strikes before it",
        PAD,
        door=("touch",),
    ),
    R(
        "strike-pushed",
        "Over radio strikes are pushed, and again with longer pauses until acknowledged.",
        "it pushes a strike once",
        PAD,
        "radio",
        ("touch",),
    ),
    R(
        "strike-kept",
        "Strikes that nobody acknowledged are kept over a loss of power, numbers and ticks unchanged.",
        "its log of strikes is lost with the power",
        PAD,
        door=("touch", "power"),
    ),
    R(
        "strike-cut",
        "Power that goes at any write loses no strike that was told, doubles none, brings none back.",
        "an acknowledged strike comes back when the power goes at the write of its acknowledgement",
        PAD,
        door=("touch", "cut"),
    ),
    R(
        "strike-full",
        "A full log drops what comes, counts it and says so.",
        "a full log drops and does not count",
        PAD,
        door=("touch",),
    ),
    R(
        "strike-features",
        "Peak, rise, width and envelope of a known blow are measured as the contract says.",
        "the peak is half of what it is",
        PAD,
        door=("touch", "pad"),
    ),
    # ---- keys
    R(
        "keys-rotated",
        "New keys under the old hold from its answer on; the old ones are then nothing.",
        "it obeys the keys before for ever",
    ),
    R(
        "keys-rotated-again",
        "The order that rotated the keys, heard again, is answered under the old ones.",
        "a repeated rotation is not answered",
    ),
    R(
        "hail",
        "Hailed by its own address it answers, unsealed, and nothing of that can make it send.",
        "it does not answer a hail",
    ),
    R(
        "keys-need-press",
        "Keys are taken only after a press on its button, wrapped for it and for both nonces.",
        "it takes keys without a press",
        BUTTON,
        door=("press",),
    ),
    R(
        "leave",
        "Told to leave, it forgets its keys and is silent until it is added again.",
        "it answers on after it was told to leave",
        BUTTON,
        door=("press",),
    ),
)

BY_ID = {requirement.id: requirement for requirement in REQUIREMENTS}
