#include "store.h"

#include <stddef.h>
#include <string.h>

#define PAGE FC_FLASH_PAGE
#define MAGIC 0x31544346u
#define BLANK 0xFFFFFFFFu
#define RECORD 0xA5u
#define HEAD 12u          /* magic, number of the page, its complement */
#define DAMAGE_JUMP 4096u /* counters that may have been used beyond what is still legible */

enum { USED = 1, SEEN, SMALL, FULL };

static const uint32_t NOTHING = 0;

struct record {
    uint8_t magic, type;
    uint16_t sum;
};

static uint32_t size_of(uint8_t type)
{
    return type == FULL    ? (uint32_t)sizeof(struct fc_kept)
           : type == SMALL ? (uint32_t)offsetof(struct fc_kept, version)
                           : 4u;
}

uint16_t fc_sum(uint16_t sum, const uint8_t *data, size_t size)
{
    for (size_t i = 0; i < size; i++) { /* CRC-16 in four steps a byte, without a table */
        sum = (uint16_t)(sum >> 8 | sum << 8);
        sum ^= data[i];
        sum ^= (uint16_t)((sum & 0xFFu) >> 4);
        sum ^= (uint16_t)(sum << 12);
        sum ^= (uint16_t)((sum & 0xFFu) << 5);
    }
    return sum;
}

static uint32_t word_at(const struct fc_core *core, uint32_t at)
{
    uint32_t word;
    core->port->flash_read(core->port->ctx, at, &word, sizeof word);
    return word;
}

static bool write(const struct fc_core *core, uint32_t at, const void *data, uint32_t size)
{
    return core->port->flash_write(core->port->ctx, at, data, size);
}

static void *part_of(struct fc_kept *kept, uint8_t type)
{
    return type == USED ? (void *)&kept->used : type == SEEN ? (void *)&kept->seen : (void *)kept;
}

static uint32_t whole_size(uint8_t type)
{
    return (uint32_t)sizeof(struct record) + size_of(type) + 4u; /* the last word is zero: it was written to its end */
}

/* Writes a record at core->store_at and moves on; a torn one is passed over. */
static bool append(struct fc_core *core, struct fc_kept *from, uint8_t type)
{
    uint32_t size = size_of(type);
    const uint8_t *part = part_of(from, type);
    struct record head = {RECORD, type, fc_sum(type, part, size)};
    uint32_t at = core->store_at;
    core->store_at += whole_size(type);
    return write(core, at, &head, sizeof head) && write(core, at + (uint32_t)sizeof head, part, size) &&
           write(core, core->store_at - 4u, &NOTHING, sizeof NOTHING);
}

/* Begins the next page with everything. */
static bool turn_page(struct fc_core *core, struct fc_kept *next)
{
    uint32_t number = core->store_seq + 1u, page = number % FC_STORE_PAGES;
    uint32_t head[3] = {MAGIC, number, ~number};
    if (word_at(core, page * PAGE) != BLANK && !write(core, page * PAGE, &NOTHING, sizeof NOTHING)) {
        return false;
    }
    core->store_at = page * PAGE + HEAD;
    if (!core->port->flash_erase(core->port->ctx, page) || !append(core, next, FULL) ||
        !write(core, page * PAGE, head, sizeof head)) {
        core->store_at = page * PAGE + PAGE; /* not begun: the next write tries again */
        return false;
    }
    core->store_seq = number;
    return true;
}

static bool put(struct fc_core *core, struct fc_kept *next, uint8_t type)
{
    uint32_t begin = core->store_seq % FC_STORE_PAGES * PAGE;
    bool room = core->store_at + whole_size(type) <= begin + PAGE && core->store_at > begin;
    return room ? append(core, next, type) : turn_page(core, next);
}

bool fc_store(struct fc_core *core, const struct fc_kept *next)
{
    struct fc_kept copy = *next;
    bool same_keys = memcmp(&core->kept.version, &copy.version, sizeof copy - offsetof(struct fc_kept, version)) == 0;
    if (!put(core, &copy, same_keys ? SMALL : FULL)) {
        return false;
    }
    core->kept = copy;
    return true;
}

bool fc_store_used(struct fc_core *core, uint32_t mark)
{
    uint32_t was = core->kept.used;
    core->kept.used = mark;
    if (!put(core, &core->kept, USED)) {
        core->kept.used = was;
        return false;
    }
    return true;
}

bool fc_store_seen(struct fc_core *core, uint32_t mark)
{
    uint32_t was = core->kept.seen;
    core->kept.seen = mark;
    if (!put(core, &core->kept, SEEN)) {
        core->kept.seen = was;
        return false;
    }
    return true;
}

/* ---- reading ---------------------------------------------------------------------------------------------------- */

/* Where the last word of a page that is not blank ends. */
static uint32_t written_to(const struct fc_core *core, uint32_t begin)
{
    uint32_t end = begin + PAGE;
    while (end > begin && word_at(core, end - 4u) == BLANK) {
        end -= 4u;
    }
    return end;
}

/* A whole record at `at`? Taken over into kept; gives its size, 0 for none. */
static uint32_t take_record(struct fc_core *core, uint32_t at, uint32_t end, bool *legible)
{
    struct record head;
    struct fc_kept copy = core->kept;
    core->port->flash_read(core->port->ctx, at, &head, sizeof head);
    if (head.magic != RECORD || head.type < USED || head.type > FULL) {
        return 0;
    }
    uint32_t size = size_of(head.type);
    if (at + whole_size(head.type) > end) {
        return 0;
    }
    uint8_t *part = part_of(&copy, head.type);
    core->port->flash_read(core->port->ctx, at + (uint32_t)sizeof head, part, size);
    if (fc_sum(head.type, part, size) != head.sum) {
        return 0;
    }
    core->kept = copy;
    *legible |= head.type == FULL;
    return whole_size(head.type);
}

/* Whether what is no record at `at` was one once: it was written to its end, or something was written behind it. */
static bool was_whole(const struct fc_core *core, uint32_t at, uint32_t end)
{
    struct record head;
    core->port->flash_read(core->port->ctx, at, &head, sizeof head);
    if (head.magic != RECORD || head.type < USED || head.type > FULL) {
        return end - at > sizeof head;
    }
    uint32_t behind = at + whole_size(head.type);
    return end > behind || (end == behind && word_at(core, end - 4u) == NOTHING);
}

/* Takes over a page; true when something in it is damaged. */
static bool read_page(struct fc_core *core, uint32_t begin, bool *legible)
{
    uint32_t end = written_to(core, begin), at = begin + HEAD;
    bool damaged = false, torn = false;
    while (at < end) {
        uint32_t size = take_record(core, at, begin + PAGE, legible);
        damaged = damaged || (!size && !torn && was_whole(core, at, end));
        torn = torn || !size;
        at += size ? size : 4u;
    }
    core->store_at = torn ? begin + PAGE : at; /* behind what was torn nothing is written any more */
    return damaged;
}

/* The number of a page, where it is legible; 0 otherwise. */
static uint32_t number_of(const struct fc_core *core, uint32_t page)
{
    uint32_t number = word_at(core, page * PAGE + 4u);
    return word_at(core, page * PAGE + 8u) == ~number && number % FC_STORE_PAGES == page ? number : 0;
}

/* A page without a whole head was never begun, or given up for a newer one; or it is damaged: when more was written
   to it than one writes before the head, or when its number is the highest of all. */
static bool head_damaged(const struct fc_core *core, uint32_t page, uint32_t last)
{
    uint32_t magic = word_at(core, page * PAGE); /* a torn write leaves ones too many, a torn voiding too few */
    bool begun = magic != BLANK && (magic & MAGIC) == MAGIC;
    return (begun && written_to(core, page * PAGE) > page * PAGE + HEAD + whole_size(FULL)) ||
           number_of(core, page) > last;
}

void fc_store_open(struct fc_core *core)
{
    uint32_t numbers[FC_STORE_PAGES], last = 0;
    bool damaged = false, legible = false;
    memset(&core->kept, 0, sizeof core->kept);
    for (uint32_t page = 0; page < FC_STORE_PAGES; page++) {
        numbers[page] = word_at(core, page * PAGE) == MAGIC ? number_of(core, page) : 0;
        last = numbers[page] > last ? numbers[page] : last;
    }
    for (uint32_t page = 0; page < FC_STORE_PAGES; page++) {
        damaged |= !numbers[page] && head_damaged(core, page, last);
    }
    core->store_seq = last;
    for (uint32_t back = FC_STORE_PAGES; back-- > 0;) { /* from the oldest, so that newer ones hold */
        uint32_t page = (last - back) % FC_STORE_PAGES;
        if (last > back && numbers[page] == last - back) {
            damaged = read_page(core, page * PAGE, &legible) || damaged;
        }
    }
    if (!legible) {
        core->kept.has &= (uint16_t)~(FC_HAS_KEYS | FC_HAS_BEFORE); /* no key at all is better than one of zeros */
    }
    if (damaged) {
        core->kept.has |= FC_DAMAGED | FC_ALL_OFF;
        core->kept.used += DAMAGE_JUMP;
    }
}
