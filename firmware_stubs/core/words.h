/* What a target says of itself: each function makes one body at `body` (FC_BODY_MAX bytes) and gives its size.
   `re`: what it answers; FC_UNASKED when nobody asked. */
#ifndef FIELDCTL_WORDS_H
#define FIELDCTL_WORDS_H

#include "state.h"

#define FC_UNASKED UINT64_MAX
#define FC_CONTRACT 1u

enum { FC_DONE, FC_LATE, FC_REFUSED, FC_SUPERSEDED };

struct fc_answer { /* a target's word on an order */
    uint8_t result, reason;
    uint64_t late;
};

size_t fc_say_status(struct fc_core *core, uint8_t *body, uint64_t re, uint64_t ticks); /* or the oldest strike */
size_t fc_say_strike(struct fc_core *core, uint8_t *body, uint16_t slot, uint64_t re, uint64_t ticks);
size_t fc_say_outcome(struct fc_core *core, uint8_t *body, const struct fc_answer *answer, uint64_t re, uint64_t ticks);
size_t fc_say_greeting(struct fc_core *core, uint8_t *body, uint64_t re, uint64_t ticks);
size_t fc_say_report(struct fc_core *core, uint8_t *body, uint64_t re, uint64_t ticks);
size_t fc_say_counters(struct fc_core *core, uint8_t *body, const uint8_t nonce[FC_NONCE], uint64_t ticks);
size_t fc_say_hail_answer(struct fc_core *core, uint8_t *body, uint64_t ticks);

/* The flags that go with every answer; a grant that has run out is forgotten. */
uint16_t fc_flags(struct fc_core *core, uint64_t ticks);

/* Whether the button was pressed lately enough to count. */
bool fc_pressed_lately(const struct fc_core *core, uint64_t ticks);

#endif
