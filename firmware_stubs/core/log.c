#include "log.h"

#include <stddef.h>
#include <string.h>

#include "breaks.h"
#include "store.h"

#define SLOT 68u
#define A_PAGE 15u /* slots */
#define IN_FLASH offsetof(struct fc_logged, ticks)
#define BLANK 0xFFFFFFFFu

_Static_assert(A_PAGE *SLOT <= FC_FLASH_PAGE, "the slots fit a page");
_Static_assert(A_PAGE *FC_LOG_PAGES == FC_LOG_SLOTS, "and fill the pages");
_Static_assert(IN_FLASH + 4u == SLOT, "a slot is a word and a strike");
_Static_assert(FC_LOG_FIRST >= FC_STORE_PAGES && FC_LOG_FIRST + FC_LOG_PAGES == FC_FLASH_PAGES, "nothing overlaps");

static uint32_t offset_of(uint16_t slot)
{
    return (FC_LOG_FIRST + slot / A_PAGE) * FC_FLASH_PAGE + slot % A_PAGE * SLOT;
}

static bool waits(const struct fc_core *core, unsigned slot)
{
    return core->log.waits[slot / 8u] >> slot % 8u & 1u;
}

static uint16_t sum_of(const struct fc_logged *logged)
{
    return fc_sum(0x5354u, (const uint8_t *)logged + 2, IN_FLASH - 2u);
}

void fc_log_read(const struct fc_core *core, uint16_t slot, struct fc_logged *logged)
{
    core->port->flash_read(core->port->ctx, offset_of(slot) + 4u, logged, IN_FLASH);
    logged->ticks = (uint64_t)logged->ticks_high << 32 | logged->ticks_low;
}

static bool before(const struct fc_logged *a, uint32_t boot, uint32_t number)
{
    return a->boot != boot ? a->boot < boot : a->number < number;
}

/* Counts anew what waits, and finds the oldest. */
static void look(struct fc_core *core)
{
    core->log.pending = 0;
    for (unsigned slot = 0; slot < FC_LOG_SLOTS; slot++) {
        core->log.pending = (uint8_t)(core->log.pending + waits(core, slot));
    }
    core->log.oldest = fc_log_next(core, FC_LOG_NONE);
}

uint16_t fc_log_next(const struct fc_core *core, uint16_t slot)
{
    struct fc_logged one, last, best;
    uint16_t found = FC_LOG_NONE;
    memset(&last, 0, sizeof last);
    memset(&best, 0, sizeof best);
    if (slot != FC_LOG_NONE) {
        fc_log_read(core, slot, &last);
    }
    for (uint16_t i = 0; i < FC_LOG_SLOTS; i++) {
        if (!waits(core, i)) {
            continue;
        }
        fc_log_read(core, i, &one);
        if (before(&last, one.boot, one.number) && (found == FC_LOG_NONE || before(&one, best.boot, best.number))) {
            found = i;
            best = one;
        }
    }
    return found;
}

static bool zero(struct fc_core *core, uint16_t slot)
{
    static const uint32_t NOTHING[2] = {0, 0};
    core->log.waits[slot / 8u] &= (uint8_t)~(1u << slot % 8u);
    if (BREAK_STRIKE_CUT && core->spoiled == 0) {
        core->spoiled = slot + 1u;
        core->spoils_at = core->ticks + 200000u;
        return true;
    }
    return core->port->flash_write(core->port->ctx, offset_of(slot), NOTHING, sizeof NOTHING);
}

/* GCOVR_EXCL_START of broken builds */
void fc_log_flush(struct fc_core *core, uint64_t ticks)
{
    if (core->spoiled && ticks >= core->spoils_at) {
        (void)zero(core, (uint16_t)(core->spoiled - 1u));
        core->spoiled = 0;
    }
}

void fc_log_restamp(struct fc_core *core, uint16_t slot, uint64_t ticks)
{
    struct fc_logged one;
    fc_log_read(core, slot, &one);
    if (one.spare == 0 && core->log.next % A_PAGE != 0) {
        one.spare = 1;
        one.ticks_low = (uint32_t)ticks;
        one.ticks_high = (uint32_t)(ticks >> 32);
        one.sum = sum_of(&one);
        uint16_t to = core->log.next++;
        (void)core->port->flash_write(core->port->ctx, offset_of(to) + 4u, &one, IN_FLASH);
        core->log.waits[to / 8u] |= (uint8_t)(1u << to % 8u);
        (void)zero(core, slot);
        look(core);
    }
}
/* GCOVR_EXCL_STOP */

void fc_log_open(struct fc_core *core)
{
    struct fc_logged one, other;
    memset(&core->log, 0, sizeof core->log);
    for (uint16_t slot = 0; slot < FC_LOG_SLOTS; slot++) {
        uint32_t state;
        core->port->flash_read(core->port->ctx, offset_of(slot), &state, sizeof state);
        fc_log_read(core, slot, &one);
        if (state != BLANK || one.size == 0 || one.size > FC_FEATURE_BYTES || one.sum != sum_of(&one) ||
            !before(&(struct fc_logged){.boot = core->kept.cleared_boot, .number = core->kept.cleared_number}, one.boot,
                    one.number) ||
            BREAK_STRIKE_KEPT) {
            continue;
        }
        bool twice = false; /* moved, and the power went before the page that it came from was erased */
        for (uint16_t i = 0; i < slot && !twice; i++) {
            if (waits(core, i)) {
                fc_log_read(core, i, &other);
                twice = other.boot == one.boot && other.number == one.number;
            }
        }
        if (twice) {
            (void)zero(core, slot);
        } else {
            core->log.waits[slot / 8u] |= (uint8_t)(1u << slot % 8u);
        }
    }
    core->log.number = BREAK_STRIKE_NUMBERED ? UINT32_MAX : 0;
    look(core);
}

void fc_log_clear(struct fc_core *core)
{
    memset(core->log.waits, 0, sizeof core->log.waits);
    look(core);
}

/* How many wait in a page. */
static unsigned in_page(const struct fc_core *core, unsigned page)
{
    unsigned count = 0;
    for (unsigned i = 0; i < A_PAGE; i++) {
        count += waits(core, page * A_PAGE + i);
    }
    return count;
}

static bool copy_slot(struct fc_core *core, uint16_t from, uint16_t to)
{
    struct fc_logged one;
    fc_log_read(core, from, &one);
    if (!core->port->flash_write(core->port->ctx, offset_of(to) + 4u, &one, IN_FLASH)) {
        return false;
    }
    core->log.waits[to / 8u] |= (uint8_t)(1u << to % 8u);
    return zero(core, from);
}

/* Begins a page; when it is the last without a waiting strike, makes another one such. */
static bool begin_page(struct fc_core *core)
{
    unsigned page = FC_LOG_PAGES, idle = 0, fewest = FC_LOG_PAGES, least = A_PAGE + 1u;
    for (unsigned i = 0; i < FC_LOG_PAGES; i++) {
        unsigned count = in_page(core, i);
        if (count == 0) {
            idle++;
            page = i;
        } else if (count < least) {
            least = count;
            fewest = i;
        }
    }
    if (idle == 0 || !core->port->flash_erase(core->port->ctx, FC_LOG_FIRST + page)) {
        return false;
    }
    core->log.next = (uint16_t)(page * A_PAGE);
    if (idle == 1u && fewest < FC_LOG_PAGES) {
        for (uint16_t from = (uint16_t)(fewest * A_PAGE); from < (fewest + 1u) * A_PAGE; from++) {
            if (waits(core, from) && !copy_slot(core, from, core->log.next++)) {
                core->log.next = 0;
                return false;
            }
        }
    }
    return true;
}

static size_t pack(const uint32_t *features, size_t count, uint8_t *bytes)
{
    size_t size = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t value = features[i];
        unsigned more = value < 24 ? 0 : value < 0x100 ? 1u : value < 0x10000 ? 2u : 4u;
        if (size + 1u + more > FC_FEATURE_BYTES) {
            return 0;
        }
        bytes[size++] = (uint8_t)(more ? 24u + more / 2u : value);
        for (unsigned byte = more; byte-- > 0;) {
            bytes[size++] = (uint8_t)(value >> 8u * byte);
        }
    }
    return size;
}

size_t fc_log_features(const struct fc_logged *logged, uint32_t features[FC_FEATURES])
{
    size_t count = 0;
    for (size_t at = 0; at < logged->size && count < FC_FEATURES; count++) {
        uint8_t first = logged->features[at++];
        unsigned more = first < 24 ? 0 : 1u << (first - 24u);
        uint32_t value = more ? 0 : first;
        while (more--) {
            value = value << 8 | logged->features[at++];
        }
        features[count] = value;
    }
    return count;
}

static bool full(struct fc_core *core)
{
    struct fc_kept next = core->kept;
    if (next.dropped < UINT16_MAX && !BREAK_STRIKE_FULL) {
        next.dropped++;
        (void)fc_store(core, &next);
    }
    return false;
}

bool fc_log_add(struct fc_core *core, const uint32_t *features, size_t count, uint64_t at)
{
    struct fc_logged one;
    if (core->log.pending >= core->port->unit->log_max) {
        return full(core);
    }
    memset(&one, 0, sizeof one);
    one.size = (uint8_t)pack(features, count, one.features);
    if (one.size == 0) {
        return false;
    }
    if (core->log.next % A_PAGE == 0 && !begin_page(core)) {
        return full(core);
    }
    one.boot = core->kept.boot;
    one.number = core->log.number + 1u;
    one.ticks_low = (uint32_t)at;
    one.ticks_high = (uint32_t)(at >> 32);
    one.sum = sum_of(&one);
    uint16_t slot = core->log.next++;
    if (BREAK_STRIKE_CUT) {
        fc_log_flush(core, UINT64_MAX);
    }
    if (!core->port->flash_write(core->port->ctx, offset_of(slot) + 4u, &one, IN_FLASH)) {
        return full(core);
    }
    core->log.waits[slot / 8u] |= (uint8_t)(1u << slot % 8u);
    core->log.number = one.number;
    look(core);
    return true;
}

bool fc_log_forget(struct fc_core *core, uint32_t boot, uint32_t number)
{
    struct fc_logged one;
    bool well = true;
    for (uint16_t slot = 0; slot < FC_LOG_SLOTS; slot++) {
        if (waits(core, slot)) {
            fc_log_read(core, slot, &one);
            if (one.boot == boot &&
                (one.number == number || (BREAK_STRIKE_ACKNOWLEDGED_SINGLY && one.number < number))) {
                well = zero(core, slot) && well;
            }
        }
    }
    look(core);
    return well;
}
