#include "frames.h"

#include "breaks.h"

#define FRAMING_BROKEN (BREAK_FRAMING_JUNK || BREAK_FRAMING_HALF || BREAK_FRAMING_ZEROS || BREAK_FRAMING_LONG)
#define PIECE_MAX (FC_FRAME_MAX - 2u)

static uint16_t crc16(const uint8_t *data, size_t size)
{
    uint16_t crc = 0xFFFFu; /* CRC-16/IBM-3740 */
    for (size_t i = 0; i < size; i++) {
        crc ^= (uint16_t)(data[i] << 8);
        for (int bit = 0; bit < 8; bit++) {
            crc = (uint16_t)(crc & 0x8000u ? crc << 1 ^ 0x1021 : crc << 1);
        }
    }
    return crc;
}

size_t fc_frame(uint8_t *data, size_t size)
{
    uint16_t crc = crc16(data + FC_FRAME_HEAD, size);
    size_t end = FC_FRAME_HEAD + size + 2u;
    data[end - 2u] = (uint8_t)(crc >> 8);
    data[end - 1u] = (uint8_t)crc;
    data[0] = 0;
    size_t code = 1; /* where the distance to the next zero goes; no piece here is long enough for 0xFF */
    for (size_t i = FC_FRAME_HEAD; i < end; i++) {
        if (data[i] == 0) {
            data[code] = (uint8_t)(i - code);
            code = i;
        }
    }
    data[code] = (uint8_t)(end - code);
    data[end] = 0;
    return end + 1u;
}

/* Undoes COBS in place; gives the size, or 0 for what is none. */
static size_t decobs(uint8_t *data, size_t size)
{
    size_t out = 0, at = 0;
    while (at < size) {
        size_t code = data[at++];
        if (code > size - at + 1u) {
            return 0;
        }
        for (size_t i = 1; i < code; i++) {
            data[out++] = data[at++];
        }
        if (at < size) {
            data[out++] = 0;
        }
    }
    return out;
}

/* Of broken builds: whether the frame after this piece is lost. */
static bool loses_next(size_t whole)
{
    return (BREAK_FRAMING_JUNK && whole >= 20u && whole <= FC_FRAME_MAX) || (BREAK_FRAMING_HALF && whole < 12u);
}

static bool open_piece(struct fc_core *core, size_t whole, size_t *size)
{
    uint8_t *data = core->in.data;
    if (FRAMING_BROKEN && core->in.skip) {
        core->in.skip = false;
        fc_count(core, FC_LOST_CRC);
        return false;
    }
    core->in.skip = loses_next(whole);
    if (whole > PIECE_MAX) {
        fc_count(core, FC_LOST_OVERSIZED);
        return false;
    }
    size_t got = decobs(data, whole);
    if (got == 0 && !(whole == 1 && data[0] == 1)) {
        fc_count(core, FC_LOST_NOT_COBS);
        return false;
    }
    if (got < 3) {
        fc_count(core, FC_LOST_SHORT);
        return false;
    }
    uint16_t crc = crc16(data, got - 2u);
    if (data[got - 2u] != crc >> 8 || (data[got - 1u] != (crc & 0xFFu) && !BREAK_FRAMING_SUM)) {
        fc_count(core, FC_LOST_CRC);
        return false;
    }
    core->in.skip = false;
    *size = got - 2u;
    return true;
}

bool fc_deframe(struct fc_core *core, uint8_t byte, size_t *size)
{
    struct fc_deframer *in = &core->in;
    if (byte != 0) {
        if (in->size < FC_FRAME_MAX) {
            in->data[in->size] = byte;
        } else if (in->size == FC_FRAME_MAX) {
            fc_count(core, FC_LOST_OVERSIZED); /* and the rest of it, however long, is passed over */
        } else {
            return false;
        }
        in->size++;
        return false;
    }
    size_t whole = in->size;
    in->size = 0;
    if (whole == 0) {
        in->zeros++;
        in->skip = in->skip || (BREAK_FRAMING_ZEROS && in->zeros > 2u);
        return false;
    }
    in->zeros = 0;
    if (whole > FC_FRAME_MAX) {
        in->skip = BREAK_FRAMING_LONG;
        return false;
    }
    return open_piece(core, whole, size);
}
