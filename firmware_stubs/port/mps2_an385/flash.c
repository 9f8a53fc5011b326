/* The storage: a part of the memory file that behaves as NOR flash does, also when the power goes in the middle. */
#include <string.h>

#include "bench.h"
#include "board.h"

#define AT(offset) ((volatile uint32_t *)(PSRAM + (offset)))

_Static_assert(FLASH_PAGE * FLASH_PAGES == FLASH_BYTES, "the pages fill the storage");

/* Whether the power goes after this write; before it, it goes here. */
static bool begin_record(void)
{
    bool cut = bench_cut_at_record();
    if (cut && !BENCH.cut_after) {
        bench_power_goes();
    }
    return cut;
}

bool flash_erase(uint32_t page)
{
    if (page >= FLASH_PAGES || BENCH.storage_bad) {
        return false;
    }
    bool cut = begin_record();
    uint32_t words = FLASH_PAGE / 4u;
    bool torn = bench_cut_in_word();
    BENCH.writes++;
    for (uint32_t i = 0; i < (torn ? words / 2u : words); i++) {
        AT(page * FLASH_PAGE)[i] = 0xFFFFFFFFu;
    }
    if (torn || cut) {
        bench_power_goes();
    }
    return true;
}

bool flash_write(uint32_t offset, const void *data, uint32_t size)
{
    if (offset % 4u || size % 4u || offset > FLASH_BYTES || size > FLASH_BYTES - offset || BENCH.storage_bad) {
        return false;
    }
    bool cut = begin_record();
    const uint8_t *from = data;
    for (uint32_t i = 0; i < size; i += 4u) {
        uint32_t word;
        memcpy(&word, from + i, sizeof word);
        BENCH.writes++;
        if (bench_cut_in_word()) {
            *AT(offset + i) &= word | 0xFFFF0000u; /* half of a word got through */
            bench_power_goes();
        }
        *AT(offset + i) &= word;
    }
    if (cut) {
        bench_power_goes();
    }
    return memcmp((const void *)(PSRAM + offset), data, size) == 0;
}

const uint8_t *flash_at(uint32_t offset)
{
    return (const uint8_t *)(PSRAM + offset);
}
