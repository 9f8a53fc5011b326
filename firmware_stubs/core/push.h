/* Over radio a target speaks unasked: who it is when it is connected, and each strike at once and again with longer
   pauses until it is acknowledged. On a bus nothing here does anything. */
#ifndef FIELDCTL_PUSH_H
#define FIELDCTL_PUSH_H

#include "state.h"

void fc_push_begin(struct fc_core *core);                /* the radio carries again */
void fc_push_new(struct fc_core *core);                  /* a strike was logged */
void fc_push_soon(struct fc_core *core, uint64_t ticks); /* one was acknowledged: the others come soon */

/* Pushes what is due; gives when it wants to be asked again. */
uint64_t fc_push_step(struct fc_core *core, uint64_t ticks);

#endif
