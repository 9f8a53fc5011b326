/* Tries a port against the numbered rules of port.h and names the one that it breaks. For a board without keys: it uses
   the last pages of the storage, and keys the carrier for half a second (into a dummy load).

   What it cannot see from inside (P1 against another clock, P5, P8, P10, P20, and P6 behind the one-shot) stands in
   BRINGUP.md; for P4, P9 and P19 a world has to answer (`S` lines below), and for P18 the board restarts.

   What it says, a line each, on what the board has for text:
       P6 holds | P6 BROKEN: what was seen | P6 not tried: why
       S echo       send back whatever now comes over the bus, at once
       S press      press the button, once
       S hardware …, S entropy …, S ticks …    for comparison from outside
       selftest passed | selftest FAILED: P6 P13
   After `S restarts` it stops feeding the watchdog and begins anew; what it says then ends with the verdict. */
#ifndef FIELDCTL_SELFTEST_H
#define FIELDCTL_SELFTEST_H

#include "../port/port.h"

struct selftest_board {
    const struct fc_port *port;
    void *ctx;
    uint8_t why; /* FC_WHY_…, of this start */
    uint64_t (*ticks)(void *ctx);
    void (*idle)(void *ctx, uint64_t until); /* until then or an input, as in the board's loop */
    size_t (*bytes)(void *ctx, uint8_t *data, size_t room, uint64_t *last);        /* for fc_bytes; null: over radio */
    size_t (*samples)(void *ctx, int16_t *samples, size_t room, uint64_t *first);  /* for fc_samples */
    bool (*pressed)(void *ctx);                                                    /* for fc_pressed, once a press */
    void (*say)(void *ctx, const char *text);
};

/* Gives the rules that are broken, bit n for Pn; does not come back where the watchdog works and why was not that. */
uint32_t selftest(const struct selftest_board *board);

#endif
