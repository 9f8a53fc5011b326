/* The selftest on this machine, in real time: the functions that the posix port hands to the core (port/sim), a socket for
   the bus with a child that echoes, a timer signal for the watchdog, which begins the program anew.

       posix FLASH-FILE */
#define _GNU_SOURCE
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#include "selftest.h"
#include "sim.h"

#define SAMPLE_US 250u
#define BATCH_US 5000u
#define PRESSED_AFTER_US 50000u

static struct fc_sim *sim;
static uint64_t began, pad_at, press_at;
static int line, flash;
static bool pressed_once;
static char **arguments;

static uint64_t host_us(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC_RAW, &at);
    return (uint64_t)at.tv_sec * 1000000u + (uint64_t)at.tv_nsec / 1000u;
}

static uint64_t ticks(void *ctx)
{
    (void)ctx;
    return sim->now = host_us() - began;
}

/* ---- the port: that of port/sim, at the time that it is ----------------------------------------------------------- */

static struct fc_port inner;

static void gate(void *ctx, uint32_t hold_us)
{
    (void)ticks(ctx);
    inner.gate(ctx, hold_us);
}

static bool gate_reads(void *ctx)
{
    (void)ticks(ctx);
    return inner.gate_reads(ctx);
}

static bool send_out(void *ctx, const uint8_t *data, size_t size)
{
    bool taken = inner.send(ctx, data, size);
    sim->sent_count = 0;
    return taken && write(line, data, size) == (ssize_t)size;
}

static bool keep(bool done)
{
    return pwrite(flash, sim->flash, FC_SIM_FLASH, 0) == (ssize_t)FC_SIM_FLASH && done;
}

static bool flash_erase(void *ctx, uint32_t page)
{
    return keep(inner.flash_erase(ctx, page));
}

static bool flash_write(void *ctx, uint32_t offset, const void *data, uint32_t size)
{
    return keep(inner.flash_write(ctx, offset, data, size));
}

static void watchdog(void *ctx)
{
    const struct itimerval bites = {.it_value = {.tv_sec = 1, .tv_usec = 900000}};
    inner.watchdog(ctx);
    setitimer(ITIMER_REAL, &bites, NULL);
}

static void bitten(int number)
{
    char *again[] = {arguments[0], arguments[1], (char *)"watchdog", NULL};
    (void)number;
    execv("/proc/self/exe", again);
    _exit(3);
}

/* ---- the loop ------------------------------------------------------------------------------------------------------ */

static void idle(void *ctx, uint64_t until)
{
    uint64_t now = ticks(ctx);
    if (until > now) {
        struct pollfd fd = {.fd = line, .events = POLLIN};
        struct timespec some = {(time_t)((until - now) / 1000000u), (long)((until - now) % 1000000u) * 1000};
        (void)ppoll(&fd, 1, &some, NULL);
    }
}

static size_t bytes(void *ctx, uint8_t *data, size_t room, uint64_t *last)
{
    ssize_t got = recv(line, data, room, MSG_DONTWAIT);
    *last = ticks(ctx);
    return got > 0 ? (size_t)got : 0;
}

static size_t samples(void *ctx, int16_t *some, size_t room, uint64_t *first)
{
    uint64_t now = ticks(ctx);
    size_t count = 0;
    if (!sim->pad_on) {
        pad_at = 0;
        return 0;
    }
    pad_at = pad_at ? pad_at : now;
    *first = pad_at;
    while (now >= *first + BATCH_US && count < room && pad_at <= now) {
        some[count++] = 0;
        pad_at += SAMPLE_US;
    }
    return count;
}

static bool pressed(void *ctx)
{
    if (pressed_once || !press_at || ticks(ctx) < press_at) {
        return false;
    }
    return pressed_once = true;
}

static void say(void *ctx, const char *text)
{
    (void)fputs(text, stdout);
    (void)fflush(stdout);
    if (strncmp(text, "S press", 7) == 0) {
        press_at = ticks(ctx) + PRESSED_AFTER_US;
    }
}

static void echo(int end)
{
    uint8_t data[512];
    ssize_t got;
    while ((got = read(end, data, sizeof data)) > 0 && write(end, data, (size_t)got) == got) {
    }
    _exit(0);
}

int main(int count, char **words)
{
    const uint8_t hardware[8] = {'p', 'o', 's', 'x', 1, 2, 3, 4}, secret[16] = "invented secret";
    int ends[2];
    if (count < 2 || (flash = open(words[1], O_RDWR | O_CREAT | O_CLOEXEC, 0600)) < 0 ||
        socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends)) {
        return 2;
    }
    if (fork() == 0) {
        close(ends[0]);
        echo(ends[1]);
    }
    close(ends[1]);
    line = ends[0];
    arguments = words;
    struct sigaction on_alarm = {.sa_handler = bitten, .sa_flags = SA_NODEFER};
    sigaction(SIGALRM, &on_alarm, NULL);
    const uint16_t abilities = FC_CAN_PAD | FC_CAN_TRANSMITTER | FC_CAN_THERMOMETER | FC_CAN_BUTTON;
    sim = fc_sim_new(hardware, secret, "posix 1", abilities, false, 64, (uint32_t)host_us());
    if (pread(flash, sim->flash, FC_SIM_FLASH, 0) < 0) {
        return 2;
    }
    began = host_us();
    inner = sim->port;
    struct fc_port port = inner;
    port.gate = gate;
    port.gate_reads = gate_reads;
    port.send = send_out;
    port.flash_erase = flash_erase;
    port.flash_write = flash_write;
    port.watchdog = watchdog;
    const struct selftest_board here = {
        &port, sim, count > 2 ? FC_WHY_WATCHDOG : FC_WHY_POWER, ticks, idle, bytes, samples, pressed, say,
    };
    return selftest(&here) ? 1 : 0;
}
