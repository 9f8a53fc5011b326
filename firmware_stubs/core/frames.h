/* Frames on a bus: 0x00, COBS(payload, CRC-16), 0x00. See fieldctl/wire/frames.py; junk costs one search for the next
   0x00. */
#ifndef FIELDCTL_FRAMES_H
#define FIELDCTL_FRAMES_H

#include "state.h"

#define FC_FRAME_HEAD 2u /* a payload lies here in a frame that is being made */

/* Frames `size` bytes that lie at data + FC_FRAME_HEAD; gives the whole size, at most size + 5. */
size_t fc_frame(uint8_t *data, size_t size);

/* Takes one byte; true when it completed a payload, whose size is in `size` and which lies in in->data. */
bool fc_deframe(struct fc_core *core, uint8_t byte, size_t *size);

#endif
