/* The contract between the core and a board: one struct of a few functions, each with a number.

   The core calls these and nothing else; it has no clock, no memory of its own making, no input and no output. A
   board calls the functions of core.h, from one loop only: interrupts put bytes and samples into rings, and the loop
   takes them out. `selftest` tries every rule here and names the one that a board breaks.

   P1   ticks       The board counts microseconds since this start in 64 bits. They never go back, never leap, and run
                    within 150 parts in a million. They are an argument of every function of the core.
   P2   start       At each start: gate off first, then `fc_start` with the true reason, then the loop.
   P3   loop        `fc_step` is called again at the tick that it returned, at most 1 ms late, and after every input.
   P4   bytes       Bytes from a bus go to `fc_bytes` in their order, none lost while the loop is held up for 20 ms;
                    `ticks` is when the last of them was whole, to 100 µs. What one's own driver sends is not heard.
   P5   payload     A message over radio goes to `fc_payload`, whole, with the flag whether it was retained.
   P6   gate        gate(hold_us): the carrier is on from now and falls by itself after hold_us, whatever the
                    processor does, unless it is called again; 0: off now. Done in hardware (a retriggerable one-
                    shot): a stopped loop, a stopped interrupt and a reset all leave it to fall. To 100 µs.
   P7   gate_reads  What the gate's output really is, read back behind the switch: true while the carrier may be on.
   P8   level       level(percent of the full moment), before the gate opens; ignored by a board without
                    FC_CAN_LEVELS.
   P9   send        send(data, size): the whole burst goes out at once and unbroken; false: no room, nothing was
                    taken, and the core tries again. On a bus the driver is on from the first bit to the last and for
                    at most two bytes more.
   P10  listen      listen(on): receiver on or off, for sleepers; the core says when.
   P11  pad         pad(on): the pad's front end and its sampling. While on, samples at 4000 Hz ± 1 %, signed, one
                    step of the converter each, go to `fc_samples` in order, none left out, within 20 ms. Band 5 Hz to
                    1.5 kHz.
   P12  flash_read  Never fails; gives what was written.
   P13  flash_erase Sets a page to ones; false when it could not. Power lost in the middle leaves anything in that
                    page and nothing elsewhere.
   P14  flash_write Offset and size are whole words of four bytes; a word is written once after an erase, or again to
                    zero. True only when all of it reads back. Power lost in the middle leaves the words before whole,
                    one word with some of its bits, and those after it as ones.
   P15  battery     battery(loaded): the newest reading, in millivolts at rest or 20 ms into a load of about 100 mA;
                    it gives what is there, within 1 ms, because P3 goes on meanwhile. The board measures by itself,
                    from a timer: both before `fc_start`, then every minute, and every ten while the receiver is off.
                    It begins while the carrier is off, best when it has just fallen (no pulse follows within 400 ms);
                    if the gate opens all the same, the load goes off and that reading is dropped.
   P16  kelvin10    Tenths of a kelvin where the antenna is; 0 without FC_CAN_THERMOMETER.
   P17  entropy     Fills with bytes that differ at every start and that nobody can foresee.
   P18  watchdog    Feeds a watchdog that resets the processor after at most 2 s. The core feeds it in `fc_step`,
                    nobody else.
   P19  pressed     A press on the button, or a magnet, calls `fc_pressed` once.
   P20  power       Supply below what flash needs ends in a reset before anything else fails.
   P21  unit        What is fixed at the factory; `hardware` and `secret` are different in every unit. */
#ifndef FIELDCTL_PORT_H
#define FIELDCTL_PORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { /* abilities, as on the wire */
    FC_CAN_PAD = 1,
    FC_CAN_CARRIER_SENSE = 2,
    FC_CAN_ANTENNA_CURRENT = 4,
    FC_CAN_THERMOMETER = 8,
    FC_CAN_SLEEP = 16,
    FC_CAN_BUTTON = 32,
    FC_CAN_HORN = 64,
    FC_CAN_TRANSMITTER = 128,
    FC_CAN_LEVELS = 256,
    FC_CAN_TRACES = 512, /* of a board with a pad whose samples come as P11 has it */
};

enum { FC_WHY_POWER, FC_WHY_WATCHDOG, FC_WHY_BROWN_OUT, FC_WHY_ORDER, FC_WHY_FAULT };

#define FC_FLASH_PAGE 1024u
#define FC_FLASH_PAGES 12u /* of a board's storage, from offset 0: what the core keeps there needs so many */

struct fc_unit { /* P21 */
    uint8_t hardware[8]; /* the last four are the address on the wire */
    uint8_t secret[16];
    char firmware[17];      /* at most 16 characters and a zero */
    uint16_t abilities;     /* FC_CAN_… */
    uint16_t turnaround_us; /* from the last byte of a question to the first of the answer, at least */
    bool radio;             /* messages instead of a bus: speaks unasked, takes a window of 32 counters */
    uint8_t log_max;        /* strikes that wait, at most 64 */
    uint16_t weak_mv;       /* under load: below it does not send */
    uint16_t low_mv;        /* under load: below it says so */
    uint16_t awake_ua;      /* what it draws, for counting the charge */
    uint16_t sending_ua;    /* more than that on average while a grant lets it send */
};

struct fc_port {
    void *ctx; /* handed to each function */
    const struct fc_unit *unit;
    void (*gate)(void *ctx, uint32_t hold_us);                                             /* P6 */
    bool (*gate_reads)(void *ctx);                                                         /* P7 */
    void (*level)(void *ctx, uint8_t percent);                                             /* P8 */
    bool (*send)(void *ctx, const uint8_t *data, size_t size);                             /* P9 */
    void (*listen)(void *ctx, bool on);                                                    /* P10 */
    void (*pad)(void *ctx, bool on);                                                       /* P11 */
    void (*flash_read)(void *ctx, uint32_t offset, void *data, uint32_t size);             /* P12 */
    bool (*flash_erase)(void *ctx, uint32_t page);                                         /* P13 */
    bool (*flash_write)(void *ctx, uint32_t offset, const void *data, uint32_t size);      /* P14 */
    uint16_t (*battery)(void *ctx, bool loaded);                                           /* P15 */
    uint16_t (*kelvin10)(void *ctx);                                                       /* P16 */
    void (*entropy)(void *ctx, uint8_t *data, size_t size);                                /* P17 */
    void (*watchdog)(void *ctx);                                                           /* P18 */
};

#endif
