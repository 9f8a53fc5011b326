/* See selftest.h. */
#include "selftest.h"

#include <string.h>

#define NOTE_PAGE (FC_FLASH_PAGES - 1u) /* what the first half of the test leaves for the second */
#define TRY_PAGE (FC_FLASH_PAGES - 2u)
#define BEFORE_PAGE (FC_FLASH_PAGES - 3u)
#define NOTE 0x53454C46u
#define SLEEPS 40u
#define HELD_UP 5u /* batches of samples that an emulator's host may hold up */

static const struct selftest_board *board;
static const struct fc_port *port;
static void *ctx; /* the port's */
static uint32_t broken;

/* ---- saying ---------------------------------------------------------------------------------------------------- */

static void say(const char *text)
{
    board->say(board->ctx, text);
}

static void say_number(uint64_t number)
{
    char digits[21];
    size_t at = sizeof digits - 1;
    digits[at] = 0;
    do {
        digits[--at] = (char)('0' + (int)(number % 10u));
        number /= 10u;
    } while (number);
    say(digits + at);
}

static void say_hex(const char *what, const uint8_t *data, size_t size)
{
    static const char digit[] = "0123456789abcdef";
    say(what);
    for (size_t i = 0; i < size; i++) {
        char two[3] = {digit[data[i] >> 4], digit[data[i] & 15u], 0};
        say(two);
    }
    say("\n");
}

static void verdict(uint32_t rule, const char *is, const char *text)
{
    say("P");
    say_number(rule);
    say(is);
    say(text);
}

static void holds(uint32_t rule)
{
    if (!(broken >> rule & 1u)) {
        verdict(rule, " holds", "\n");
    }
}

static void breaks(uint32_t rule, const char *seen)
{
    if (!(broken >> rule & 1u)) {
        broken |= 1u << rule;
        verdict(rule, " BROKEN: ", seen);
        say("\n");
    }
}

static void untried(uint32_t rule, const char *why)
{
    verdict(rule, " not tried: ", why);
    say("\n");
}

/* ---- time ------------------------------------------------------------------------------------------------------ */

static uint64_t now(void)
{
    return board->ticks(board->ctx);
}

static void feed(void)
{
    port->watchdog(ctx);
}

/* Time passes in the loop. */
static void rest(uint64_t us)
{
    uint64_t until = now() + us;
    while (now() < until) {
        feed();
        board->idle(board->ctx, until);
    }
}

/* Time passes with the loop standing still. */
static void stand(uint64_t us)
{
    uint64_t until = now() + us;
    while (now() < until) {
    }
}

static void try_clock(void)
{
    uint64_t last = now();
    for (uint32_t i = 0; i < 50000u; i++) {
        uint64_t next = now();
        if (next < last) {
            breaks(1, "the ticks went back");
        } else if (next - last > 500000u) {
            breaks(1, "the ticks leapt");
        }
        last = next;
    }
    say("S ticks ");
    say_number(now());
    say("\n");
    holds(1);
}

static void try_loop(void)
{
    uint64_t worst = 0;
    uint32_t late = 0;
    for (uint32_t i = 0; i < SLEEPS; i++) {
        uint64_t due = now() + 500u + 300u * i;
        while (now() < due) {
            feed();
            board->idle(board->ctx, due);
        }
        uint64_t by = now() - due;
        worst = by > worst ? by : worst;
        late += by > 1000u ? 1u : 0u;
    }
    say("S late ");
    say_number(worst);
    say("\n");
    if (late > SLEEPS / 2u) { /* an emulator's host may hold up a few of them */
        breaks(3, "sleeps end more than 1 ms late");
    }
    holds(3);
}

/* ---- the gate -------------------------------------------------------------------------------------------------- */

/* Watches the gate without touching it until it reads off: the last moment at which it may still have been on and the
   first at which it may have been off. False: it did not fall. */
static bool watch(uint64_t us, uint64_t *on, uint64_t *off)
{
    uint64_t until = now() + us;
    *on = 0;
    for (;;) {
        uint64_t before = now();
        if (!port->gate_reads(ctx)) {
            *off = now();
            return true;
        }
        *on = before;
        if (before > until) {
            return false;
        }
    }
}

/* It has to fall `hold` after a call that lasted from `begin` to `end`. */
static void has_to_fall(uint32_t hold, uint64_t begin, uint64_t end, const char *otherwise)
{
    uint64_t on, off;
    if (!watch(hold + 50000u, &on, &off) || on > end + hold + 100u || off + 100u < begin + hold) {
        breaks(6, otherwise);
    }
}

static void try_gate(void)
{
    port->gate(ctx, 0);
    if (port->gate_reads(ctx)) {
        breaks(7, "ordered off, it reads on");
        untried(6, "the gate cannot be read");
        return;
    }
    if (!(port->unit->abilities & FC_CAN_TRANSMITTER)) {
        untried(6, "no transmitter");
        return;
    }
    port->level(ctx, 100);
    uint64_t begin = now();
    port->gate(ctx, 50000);
    uint64_t end = now();
    if (!port->gate_reads(ctx) && now() < begin + 50000u) {
        breaks(7, "ordered on, it reads off");
        untried(6, "the gate cannot be read");
        port->gate(ctx, 0);
        return;
    }
    has_to_fall(50000, begin, end, "it did not fall by itself when it had to"); /* with the loop standing still */
    feed();
    port->gate(ctx, 60000);
    stand(20000);
    begin = now();
    port->gate(ctx, 60000);
    end = now();
    has_to_fall(60000, begin, end, "called again it did not fall when the last call said");
    port->gate(ctx, 200000);
    stand(5000);
    port->gate(ctx, 0);
    stand(100);
    if (port->gate_reads(ctx)) {
        breaks(6, "ordered off it stayed on");
    }
    feed();
    holds(6);
    holds(7);
}

/* ---- the line -------------------------------------------------------------------------------------------------- */

static size_t take(uint8_t *data, size_t room)
{
    size_t count = 0;
    uint64_t last;
    while (count < room) {
        size_t more = board->bytes(board->ctx, data + count, room - count, &last);
        if (!more) {
            break;
        }
        if (last > now()) {
            breaks(4, "bytes that are still to come");
        }
        count += more;
    }
    return count;
}

static void try_line(void)
{
    static uint8_t burst[128], back[160];
    for (size_t i = 0; i < sizeof burst; i++) {
        burst[i] = (uint8_t)(i * 7u + 1u);
    }
    (void)take(back, sizeof back);
    say("S echo\n");
    rest(100000);
    if (!port->send(ctx, burst, sizeof burst)) {
        breaks(9, "there was no room for one burst");
        return;
    }
    stand(20000); /* the loop is held up; an echo comes meanwhile */
    feed();
    size_t count = take(back, sizeof back);
    for (uint32_t i = 0; i < 20u && count < sizeof burst; i++) {
        rest(20000);
        count += take(back + count, sizeof back - count);
    }
    if (!count) {
        untried(4, "nobody sent anything back");
        untried(9, "nobody sent anything back");
        return;
    }
    if (count > sizeof burst) {
        breaks(4, "more came than was sent: its own words are heard");
    } else if (count < sizeof burst) {
        breaks(4, "bytes were lost");
    } else if (memcmp(burst, back, sizeof burst) != 0) {
        breaks(4, "bytes came in another order, or others");
    }
    holds(4);
    holds(9);
}

static void try_button(void)
{
    if (!(port->unit->abilities & FC_CAN_BUTTON)) {
        untried(19, "no button");
        return;
    }
    if (board->pressed(board->ctx)) {
        breaks(19, "pressed without anybody");
    }
    say("S press\n");
    uint32_t count = 0;
    for (uint32_t i = 0; i < 100u; i++) {
        rest(10000);
        count += board->pressed(board->ctx) ? 1u : 0u;
    }
    if (count > 1u) {
        breaks(19, "one press came more than once");
    } else if (!count) {
        untried(19, "nobody pressed it");
        return;
    }
    holds(19);
}

/* ---- the pad --------------------------------------------------------------------------------------------------- */

static void try_pad(void)
{
    int16_t some[40];
    uint64_t first = 0, next = 0, begin;
    uint32_t total = 0, late = 0;
    if (!(port->unit->abilities & FC_CAN_PAD)) {
        untried(11, "no pad");
        return;
    }
    port->pad(ctx, true);
    begin = now();
    /* what a held-up host hands over late (`late` counts it) is waited for: it was sampled in time all the same */
    while (now() < begin + 500000u || (next < begin + 480000u && now() < begin + 600000u)) {
        size_t count = board->samples(board->ctx, some, sizeof some / sizeof *some, &first);
        if (count) {
            uint64_t at = now();
            if (total && first != next && (first < next - 100u || first > next + 100u)) {
                breaks(11, "samples were left out, or came twice");
            }
            if (first > at) {
                breaks(11, "samples that are still to come");
            }
            late += at - first > 20000u + 250u * count ? 1u : 0u;
            total += (uint32_t)count;
            next = first + 250u * count;
        } else {
            feed();
            board->idle(board->ctx, now() + 2000u);
        }
    }
    if (late > HELD_UP) {
        breaks(11, "samples came later than 20 ms");
    }
    if (total < 1900u || total > 2020u) {
        breaks(11, "not 4000 samples a second");
    }
    port->pad(ctx, false);
    rest(30000);
    while (board->samples(board->ctx, some, sizeof some / sizeof *some, &first)) {
    }
    rest(30000);
    if (board->samples(board->ctx, some, sizeof some / sizeof *some, &first)) {
        breaks(11, "switched off it goes on");
    }
    holds(11);
}

/* ---- the storage ----------------------------------------------------------------------------------------------- */

static bool is_all(uint32_t page, uint8_t what)
{
    uint8_t some[64];
    for (uint32_t at = 0; at < FC_FLASH_PAGE; at += sizeof some) {
        port->flash_read(ctx, page * FC_FLASH_PAGE + at, some, sizeof some);
        for (size_t i = 0; i < sizeof some; i++) {
            if (some[i] != what) {
                return false;
            }
        }
    }
    return true;
}

static bool reads(uint32_t offset, const uint32_t *words, uint32_t size)
{
    uint32_t some[8];
    port->flash_read(ctx, offset, some, size);
    return memcmp(some, words, size) == 0;
}

static void try_storage(void)
{
    static const uint32_t words[8] = {0x01234567u, 0x89ABCDEFu, 0x00FF00FFu, 0xFFFFFFFEu, 0x7FFFFFFFu, 0u, 0xAAAAAAAAu, 1u};
    static const uint32_t zeros[2] = {0u, 0u};
    const uint32_t here = TRY_PAGE * FC_FLASH_PAGE;
    if (!port->flash_erase(ctx, BEFORE_PAGE) || !port->flash_erase(ctx, TRY_PAGE)) {
        breaks(13, "a page could not be erased");
        return;
    }
    if (!is_all(TRY_PAGE, 0xFFu)) {
        breaks(13, "an erased page is not all ones");
        return;
    }
    if (!port->flash_write(ctx, here, words, sizeof words)) {
        breaks(14, "words could not be written");
    }
    if (!reads(here, words, sizeof words)) {
        breaks(12, "what was written does not read back");
    }
    if (!port->flash_write(ctx, here + FC_FLASH_PAGE - 8u, words, 8u) || !reads(here + FC_FLASH_PAGE - 8u, words, 8u)) {
        breaks(14, "the end of a page could not be written");
    }
    if (!port->flash_write(ctx, here + 4u, zeros, sizeof zeros) || !reads(here + 4u, zeros, sizeof zeros)) {
        breaks(14, "words could not be written again to zero");
    }
    if (!reads(here, words, 4u) || !reads(here + 12u, words + 3, 20u)) {
        breaks(14, "the words beside it changed");
    }
    if (port->flash_write(ctx, here + 4u, words, 4u) && !reads(here + 4u, words, 4u)) {
        breaks(14, "it says true of what does not read back");
    }
    if (!port->flash_erase(ctx, BEFORE_PAGE) || !reads(here, words, 4u)) {
        breaks(13, "erasing one page changed another");
    }
    if (!port->flash_erase(ctx, TRY_PAGE) || !is_all(TRY_PAGE, 0xFFu)) {
        breaks(13, "a written page could not be erased");
    }
    holds(12);
    holds(13);
    holds(14);
}

/* ---- the rest -------------------------------------------------------------------------------------------------- */

static void try_body(void)
{
    uint16_t idle_mv = 0, load_mv = 0;
    uint64_t waits = UINT64_MAX;
    for (size_t i = 0; i < 5; i++) { /* on a busy machine one may take longer */
        uint64_t begin = now();
        idle_mv = port->battery(ctx, false);
        load_mv = port->battery(ctx, true);
        uint64_t took = now() - begin;
        waits = took < waits ? took : waits;
    }
    if (waits > 2000u) {
        breaks(15, "a reading holds the loop up");
    }
    if (idle_mv < 500u || idle_mv > 20000u || load_mv > idle_mv) {
        breaks(15, "no cell has such voltages");
    }
    holds(15);
    uint16_t kelvin10 = port->kelvin10(ctx);
    if (port->unit->abilities & FC_CAN_THERMOMETER ? kelvin10 < 2130u || kelvin10 > 3330u : kelvin10 != 0) {
        breaks(16, "no target is so warm or so cold");
    }
    holds(16);
    uint8_t draws[4][8];
    for (size_t i = 0; i < 4; i++) {
        memset(draws[i], 0, sizeof draws[i]);
        port->entropy(ctx, draws[i], sizeof draws[i]);
        for (size_t j = 0; j < i; j++) {
            if (memcmp(draws[i], draws[j], sizeof draws[i]) == 0) {
                breaks(17, "two draws are the same");
            }
        }
    }
    say_hex("S entropy ", draws[0], sizeof draws[0]);
    holds(17);
}

static void try_unit(void)
{
    const struct fc_unit *unit = port->unit;
    uint8_t all_and = 0xFFu, all_or = 0;
    for (size_t i = 0; i < sizeof unit->hardware; i++) {
        all_and &= unit->hardware[i];
        all_or |= unit->hardware[i];
    }
    if (all_or == 0 || all_and == 0xFFu) {
        breaks(21, "no hardware id");
    }
    uint8_t secret = 0;
    for (size_t i = 0; i < sizeof unit->secret; i++) {
        secret |= (uint8_t)(unit->secret[i] ^ unit->secret[0]);
    }
    if (!secret) {
        breaks(21, "no secret");
    }
    if (!memchr(unit->firmware, 0, sizeof unit->firmware) || !unit->firmware[0]) {
        breaks(21, "no name of the firmware");
    }
    if (unit->log_max < 1u || unit->log_max > 64u || unit->weak_mv > unit->low_mv) {
        breaks(21, "impossible limits");
    }
    say_hex("S hardware ", unit->hardware, sizeof unit->hardware);
    holds(21);
}

/* ---- the watchdog, and the whole ------------------------------------------------------------------------------- */

static uint32_t finish(void)
{
    say(broken ? "selftest FAILED:" : "selftest passed");
    for (uint32_t rule = 1; rule < 32u; rule++) {
        if (broken >> rule & 1u) {
            say(" P");
            say_number(rule);
        }
    }
    say("\n");
    return broken;
}

uint32_t selftest(const struct selftest_board *with)
{
    uint32_t note[2];
    board = with;
    port = with->port;
    ctx = port->ctx;
    broken = 0;
    feed();
    port->flash_read(ctx, NOTE_PAGE * FC_FLASH_PAGE, note, sizeof note);
    bool second = note[0] == NOTE;
    if (!port->flash_erase(ctx, NOTE_PAGE)) {
        breaks(13, "a page could not be erased");
    }
    if (second) { /* the watchdog has bitten, or should have */
        broken = note[1];
        if (with->why != FC_WHY_WATCHDOG) {
            breaks(2, "it restarted without being fed and does not say why");
        }
        if (port->gate_reads(ctx)) {
            breaks(2, "it starts with its gate on");
        }
        holds(2);
        holds(18);
        return finish();
    }
    if (port->gate_reads(ctx)) {
        breaks(2, "it starts with its gate on");
    }
    if (with->why == FC_WHY_WATCHDOG) {
        breaks(2, "nothing hung, and it says that the watchdog bit");
    }
    try_unit();
    try_clock();
    try_loop();
    try_gate();
    try_storage();
    try_body();
    if (port->unit->radio || !with->bytes) {
        untried(4, "no bus");
        untried(9, "no bus");
    } else {
        try_line();
    }
    try_pad();
    try_button();
    for (uint32_t i = 0; i < 30u; i++) {
        rest(100000); /* fed: longer than the watchdog's time, and alive */
    }
    note[0] = NOTE;
    note[1] = broken;
    if (!port->flash_write(ctx, NOTE_PAGE * FC_FLASH_PAGE, note, sizeof note)) {
        breaks(14, "words could not be written");
        return finish();
    }
    say("S restarts\n");
    feed();
    stand(2100000);
    breaks(18, "nobody fed it for 2.1 s, and it goes on");
    (void)port->flash_erase(ctx, NOTE_PAGE);
    return finish();
}
