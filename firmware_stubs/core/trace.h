/* Raw traces: the last strikes as the pad felt them, kept in RAM for whoever asks. What a sample is and why so many are
   kept stands with `trace` in messages.cddl. While a strike goes on its trace grows in a slot beside those that can be
   told, so that the last four can always be. */
#ifndef FIELDCTL_TRACE_H
#define FIELDCTL_TRACE_H

#include "state.h"

struct fc_message;

/* A sample of the pad was taken, in steps of the converter; whether a strike goes on or not. */
void fc_trace_sample(struct fc_traces *traces, int16_t sample);

/* A strike begins with the next sample; base and level, which it exceeded, in steps in Q8. */
void fc_trace_begin(struct fc_traces *traces, int32_t base, uint32_t level);

/* The sample of the strike with this index lies so far from the baseline, in steps in Q8. */
void fc_trace_take(struct fc_traces *traces, uint32_t index, int32_t away);

/* The strike was logged under this number: from now on its trace can be told. */
void fc_trace_keep(struct fc_traces *traces, uint32_t number);

/* The body that answers a question for a part; 0 when there is no such trace. `re` as in words.h. */
size_t fc_say_trace(struct fc_core *core, uint8_t *body, const struct fc_message *ask, uint64_t re, uint64_t ticks);

#endif
