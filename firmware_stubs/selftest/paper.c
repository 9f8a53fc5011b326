/* A board on paper, in virtual time, on which a defect can be planted: so that the selftest itself is tested.

       paper               every rule holds
       paper DEFECT        one is broken; `paper list` names all defects and the rule that each breaks */
#include <setjmp.h>
#include <stdio.h>
#include <string.h>

#include "selftest.h"

#define LOOK_US 5u /* reading the clock takes so long here */
#define PAGES FC_FLASH_PAGES
#define LINE 512u

static const struct {
    const char *name;
    int rule;
} defects[] = {
    {"clock-back", 1},      {"clock-leaps", 1},     {"starts-on", 2},       {"why-power", 2},     {"why-watchdog", 2},
    {"sleeps-long", 3},     {"bytes-lost", 4},      {"bytes-swapped", 4},   {"hears-itself", 4},  {"bytes-early", 4},
    {"never-falls", 6},     {"falls-late", 6},      {"falls-early", 6},     {"not-again", 6},     {"stays-on", 6},
    {"reads-off", 7},       {"reads-on", 7},        {"no-room", 9},         {"pad-slow", 11},     {"pad-gap", 11},
    {"pad-late", 11},       {"pad-goes-on", 11},    {"pad-early", 11},      {"reads-wrong", 12},  {"erase-half", 13},
    {"erase-next", 13},     {"erase-fails", 13},    {"write-fails", 14},    {"write-spills", 14}, {"write-once", 14},
    {"write-lies", 14},     {"battery-flat", 15},   {"battery-odd", 15},    {"battery-slow", 15}, {"kelvin-odd", 16},
    {"entropy-same", 17},   {"watchdog-slow", 18},  {"pressed-twice", 19},  {"pressed-alone", 19}, {"no-hardware", 21},
    {"no-secret", 21},      {"no-name", 21},        {"odd-limits", 21},
};

static const char *planted = "";

static bool has(const char *defect)
{
    return strcmp(planted, defect) == 0;
}

/* ---- the world ------------------------------------------------------------------------------------------------- */

static uint64_t now, fed, gate_off, line_at, next_sample, press_at;
static bool pad_on, echoes, drawn; /* drawn: what reads the gate is stuck */
static uint8_t flash[PAGES * FC_FLASH_PAGE], line[LINE], seed = 1;
static uint32_t line_in, line_out, clock_reads, presses, batches;
static jmp_buf bites;

static void pass(uint64_t us)
{
    now += us;
    if (now - fed > (has("watchdog-slow") ? 5000000u : 1900000u)) {
        longjmp(bites, 1);
    }
}

static uint64_t ticks(void *ctx)
{
    (void)ctx;
    pass(LOOK_US);
    clock_reads++;
    if (has("clock-back") && clock_reads == 1000u) {
        return now - 20000u;
    }
    if (has("clock-leaps") && clock_reads == 1000u) {
        fed = now += 700000u;
    }
    return now;
}

static void idle(void *ctx, uint64_t until)
{
    (void)ctx;
    if (until > now) {
        pass(until - now + (has("sleeps-long") ? 3000u : 20u));
    }
}

static void gate(void *ctx, uint32_t hold_us)
{
    (void)ctx;
    bool was_on = now < gate_off;
    drawn = has("reads-on");
    if (hold_us == 0) {
        gate_off = has("stays-on") && was_on && gate_off - now > 100000u ? gate_off : now;
        return;
    }
    if (was_on && has("not-again")) {
        return;
    }
    gate_off = now + hold_us;
    if (has("never-falls")) {
        gate_off = now + 400000u;
    }
    if (has("falls-late")) {
        gate_off += 800u;
    }
    if (has("falls-early")) {
        gate_off -= 800u;
    }
}

static bool gate_reads(void *ctx)
{
    (void)ctx;
    return !has("reads-off") && (drawn || now < gate_off);
}

static void level(void *ctx, uint8_t percent)
{
    (void)ctx;
    (void)percent;
}

static bool send(void *ctx, const uint8_t *data, size_t size)
{
    (void)ctx;
    if (has("no-room") || line_in - line_out + size > LINE) {
        return false;
    }
    if (has("hears-itself")) {
        memcpy(line, data, 20);
        line_in = 20;
    }
    if (echoes) {
        memcpy(line + line_in, data, size);
        line_in += (uint32_t)size;
        line_at = now + 2000u;
    }
    if (has("bytes-swapped")) {
        line[10] = data[11];
        line[11] = data[10];
    }
    if (has("bytes-lost")) {
        memmove(line + 50, line + 60, line_in - 60u);
        line_in -= 10u;
    }
    return true;
}

static size_t bytes(void *ctx, uint8_t *data, size_t room, uint64_t *last)
{
    (void)ctx;
    size_t count = 0;
    while (now >= line_at && line_out < line_in && count < room && count < 50u) {
        data[count++] = line[line_out++];
    }
    *last = has("bytes-early") ? now + 1000u : now;
    return count;
}

static void listen(void *ctx, bool on)
{
    (void)ctx;
    (void)on;
}

static void pad(void *ctx, bool on)
{
    (void)ctx;
    if (on) {
        next_sample = now;
    }
    pad_on = on || (pad_on && has("pad-goes-on"));
}

static size_t samples(void *ctx, int16_t *some, size_t room, uint64_t *first)
{
    (void)ctx;
    uint64_t wait = has("pad-late") ? 60000u : 5000u;
    uint64_t step = has("pad-slow") ? 300u : 250u;
    if (!pad_on || now < next_sample + wait) {
        return 0;
    }
    if (has("pad-gap") && ++batches == 30u) {
        next_sample += 2500u;
    }
    size_t count = 0;
    *first = has("pad-early") ? now + 1000u : next_sample;
    while (count < room && next_sample + (has("pad-late") ? 40000u : 0u) <= now) {
        some[count++] = 0;
        next_sample += step;
    }
    return count;
}

static void read_flash(void *ctx, uint32_t offset, void *data, uint32_t size)
{
    (void)ctx;
    memcpy(data, flash + offset, size);
    if (has("reads-wrong") && size == 32u) {
        ((uint8_t *)data)[5] ^= 4u;
    }
}

static bool erase_flash(void *ctx, uint32_t page)
{
    (void)ctx;
    if (has("erase-fails") && page == PAGES - 3u) {
        return false;
    }
    memset(flash + page * FC_FLASH_PAGE, 0xFF, has("erase-half") ? FC_FLASH_PAGE / 2u : FC_FLASH_PAGE);
    if (has("erase-next") && page == PAGES - 3u) {
        memset(flash + (page + 1u) * FC_FLASH_PAGE, 0xFF, 16);
    }
    return true;
}

static bool write_flash(void *ctx, uint32_t offset, const void *data, uint32_t size)
{
    (void)ctx;
    const uint8_t *from = data;
    bool tries = offset / FC_FLASH_PAGE == PAGES - 2u;
    if (has("write-fails") && tries && offset % FC_FLASH_PAGE > 500u) {
        return false;
    }
    for (uint32_t i = 0; i < size; i++) {
        bool blank = flash[offset + i] == 0xFFu;
        if (blank || !has("write-once")) {
            flash[offset + i] &= from[i];
        }
    }
    if (has("write-spills") && tries && offset % FC_FLASH_PAGE == 4u) {
        flash[offset + size] = 0;
    }
    return has("write-lies") || memcmp(flash + offset, data, size) == 0;
}

static uint16_t battery(void *ctx, bool loaded)
{
    (void)ctx;
    if (has("battery-flat")) {
        return 0;
    }
    if (has("battery-slow") && loaded) {
        pass(20000u);
    }
    return loaded != has("battery-odd") ? 3300 : 3500;
}

static uint16_t kelvin10(void *ctx)
{
    (void)ctx;
    return has("kelvin-odd") ? 200 : 2600;
}

static void entropy(void *ctx, uint8_t *data, size_t size)
{
    (void)ctx;
    for (size_t i = 0; i < size; i++) {
        data[i] = has("entropy-same") ? (uint8_t)i : (uint8_t)(seed = (uint8_t)(seed * 5u + 3u));
    }
}

static void watchdog(void *ctx)
{
    (void)ctx;
    fed = now;
}

static bool pressed(void *ctx)
{
    (void)ctx;
    if (has("pressed-alone") && presses == 0) {
        presses++;
        return true;
    }
    if (press_at && now >= press_at && presses < (has("pressed-twice") ? 2u : 1u)) {
        presses++;
        return true;
    }
    return false;
}

static void say(void *ctx, const char *text)
{
    (void)ctx;
    (void)fputs(text, stdout);
    if (strncmp(text, "S echo", 6) == 0) {
        echoes = true;
    }
    if (strncmp(text, "S press", 7) == 0) {
        press_at = now + 50000u;
    }
}

int main(int count, char **words)
{
    static struct fc_unit unit = {
        {1, 2, 3, 4, 5, 6, 7, 8}, {9, 8, 7}, "paper 1", FC_CAN_PAD | FC_CAN_TRANSMITTER | FC_CAN_THERMOMETER | FC_CAN_BUTTON,
        200, false, 64, 2200, 2600, 3000, 12000,
    };
    static const struct fc_port port = {
        0,   &unit,      gate,        gate_reads,  level,   send,     listen,  pad,
        read_flash, erase_flash, write_flash, battery, kelvin10, entropy, watchdog,
    };
    static struct selftest_board here = {&port, 0, FC_WHY_POWER, ticks, idle, bytes, samples, pressed, say};
    if (count > 1 && strcmp(words[1], "list") == 0) {
        for (size_t i = 0; i < sizeof defects / sizeof *defects; i++) {
            (void)printf("%s P%d\n", defects[i].name, defects[i].rule);
        }
        return 0;
    }
    planted = count > 1 ? words[1] : "";
    memset(flash, 0x5A, sizeof flash);
    memset(unit.hardware, has("no-hardware") ? 0 : 7, sizeof unit.hardware);
    memset(unit.secret, 9, has("no-secret") ? sizeof unit.secret : 3u);
    memset(unit.firmware, 'x', has("no-name") ? sizeof unit.firmware : 1u);
    unit.weak_mv = has("odd-limits") ? 3000 : 2200;
    here.why = has("why-watchdog") ? FC_WHY_WATCHDOG : FC_WHY_POWER;
    if (has("starts-on")) {
        gate_off = 1000000u;
    }
    if (setjmp(bites)) { /* a new start: ticks from zero, whatever was on is off */
        now = fed = gate_off = 0;
        pad_on = false;
        drawn = false;
        here.why = has("why-power") ? FC_WHY_POWER : FC_WHY_WATCHDOG;
    }
    return selftest(&here) ? 1 : 0;
}
