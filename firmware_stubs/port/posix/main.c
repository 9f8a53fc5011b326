/* A target as a process: the core on the board in memory (port/sim), in real time, on a pseudo-terminal or a socket.

       fieldctl-target [--socket] [--flash FILE] [--hardware HEX16] [--secret HEX32]

   Says in one line of JSON where it is ("port" or "socket"), where its side door is ("door":
   fieldctl/certify/side_door.py), its factory secret and its address, and lives until its input ends. FILE keeps its
   flash from one life to the next. */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <fcntl.h>
#include <math.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "sim.h"

#define OFF_US 300000u /* how long the power is away after it went at a write, and after a reboot */
#define BATCH 80u      /* samples: 20 ms */
#define QUEUE 65536u
#define LINE_MAX_BYTES 1100u
#define FRESH_MV 3350u
#define WEAK_MV 2000u

struct target {
    struct fc_sim *sim;
    uint64_t began;  /* when its ticks were zero */
    uint64_t back;   /* when its power comes back; 0: it has power */
    uint8_t why;     /* and why it had gone */
    uint64_t pad_at; /* ticks of the next sample */
    int16_t queue[QUEUE];
    uint32_t in, out;
    uint32_t told; /* spans of the carrier that the side door has given */
    uint32_t written;
    int line, listening, door, door_listening, flash;
    char request[LINE_MAX_BYTES];
    size_t requested;
};

static uint64_t now_us(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC_RAW, &at);
    return (uint64_t)at.tv_sec * 1000000u + (uint64_t)at.tv_nsec / 1000u;
}

static void fail(const char *what)
{
    perror(what);
    exit(1);
}

static size_t unhex(const char *text, uint8_t *out, size_t most)
{
    size_t count = 0;
    while (count < most && sscanf(text + 2u * count, "%2hhx", &out[count]) == 1) {
        count++;
    }
    return count;
}

/* ---- power ------------------------------------------------------------------------------------------------------ */

static void power_on(struct target *t)
{
    t->began = now_us() - 1000u;
    t->back = 0;
    t->pad_at = 0;
    t->told = t->sim->spans_count = 0;
    t->sim->now = 0;
    t->sim->cut_in = 0;
    fc_sim_power_on(t->sim, 1000u, t->why);
}

static void power_off(struct target *t, uint64_t for_us, uint8_t why)
{
    fc_sim_power_off(t->sim);
    t->back = now_us() + for_us;
    t->why = why;
    t->in = t->out = 0;
}

static void keep(struct target *t)
{
    if (t->flash >= 0 && t->written != t->sim->words) {
        t->written = t->sim->words;
        if (pwrite(t->flash, t->sim->flash, FC_SIM_FLASH, 0) != (ssize_t)FC_SIM_FLASH) {
            fail("flash");
        }
    }
}

/* ---- the line --------------------------------------------------------------------------------------------------- */

static void say(struct target *t)
{
    keep(t); /* what was written lies on file before anything is said that builds on it */
    for (uint32_t i = 0; i < t->sim->sent_count; i++) {
        const struct fc_sim_sent *sent = &t->sim->sent[i];
        if (t->line >= 0 && write(t->line, sent->data, sent->size) < 0) {
            perror("line");
        }
    }
    t->sim->sent_count = 0;
}

static uint64_t step(struct target *t, int what, uint8_t *data, size_t size)
{
    uint64_t soon = FC_NEVER;
    if (t->back && now_us() >= t->back) {
        power_on(t);
    }
    if (!t->back) {
        (void)fc_sim_step(t->sim, now_us() - t->began, what, data, size);
        say(t);
        soon = t->sim->next;
        if (t->sim->cut) {
            power_off(t, OFF_US, FC_WHY_POWER);
        }
    }
    keep(t);
    return t->back ? t->back : soon == FC_NEVER ? FC_NEVER : soon + t->began;
}

/* The pad reads the middle unless something is shown to it. */
static void show_pad(struct target *t)
{
    uint64_t ticks = now_us() - t->began;
    if (t->back || !t->sim->pad_on) {
        t->pad_at = 0;
        return;
    }
    if (t->pad_at == 0) {
        t->pad_at = ticks;
    }
    while (ticks >= t->pad_at + BATCH * 250u) {
        int16_t samples[BATCH];
        for (unsigned i = 0; i < BATCH; i++) {
            samples[i] = t->out < t->in ? t->queue[t->out++ % QUEUE] : 0;
        }
        (void)fc_sim_samples(t->sim, samples, BATCH, t->pad_at);
        t->pad_at += BATCH * 250u;
        say(t);
    }
}

/* ---- the side door ---------------------------------------------------------------------------------------------- */

static void show(struct target *t, int value)
{
    if (t->in - t->out < QUEUE) {
        t->queue[t->in++ % QUEUE] = (int16_t)value;
    }
}

static void touch(struct target *t)
{
    for (int n = 0; n < 160; n++) {
        double blow = n < 40 ? 0 : 400.0 * fmin(1.0, (n - 40) / 3.0) * exp(-(n - 40) / 12.0);
        show(t, (int)lround(blow));
    }
}

static size_t edges(struct target *t, char *answer, size_t room)
{
    size_t size = 0;
    uint64_t ticks = now_us() - t->began;
    while (t->told < t->sim->spans_count && t->sim->spans[t->told].off <= ticks && size + 50u < room) {
        const struct fc_sim_span *span = &t->sim->spans[t->told++];
        size += (size_t)snprintf(answer + size, room - size, " %llu %llu", (unsigned long long)(t->began + span->on),
                                 (unsigned long long)(t->began + span->off));
    }
    return size;
}

static void answer_door(struct target *t, char *line)
{
    static char answer[1u << 20];
    long n[2] = {0, 0};
    char *rest = line, *word = strsep(&rest, " ");
    strcpy(answer, "ok");
    if (rest) {
        (void)sscanf(rest, "%ld %ld", &n[0], &n[1]);
    }
    if (!strcmp(word, "offers")) {
        strcpy(answer, "ok reboot power cut touch pad gate stuck battery press");
    } else if (!strcmp(word, "reboot")) {
        power_off(t, OFF_US, FC_WHY_WATCHDOG);
    } else if (!strcmp(word, "power")) {
        power_off(t, (uint64_t)n[0] * 1000u, FC_WHY_POWER);
    } else if (!strcmp(word, "cut")) {
        t->sim->cut_words = false;
        t->sim->cut_in = (uint32_t)n[0];
        t->sim->cut_when = n[1] ? 2u : 0u;
    } else if (!strcmp(word, "touch")) {
        touch(t);
    } else if (!strcmp(word, "pad")) {
        for (char *sample; (sample = strsep(&rest, " "));) {
            show(t, atoi(sample));
        }
    } else if (!strcmp(word, "gate")) {
        (void)edges(t, answer + 2, sizeof answer - 4u);
    } else if (!strcmp(word, "stuck")) {
        t->sim->gate_stuck = n[0];
    } else if (!strcmp(word, "battery")) {
        t->sim->load_mv = n[0] ? WEAK_MV : FRESH_MV;
    } else if (!strcmp(word, "press")) {
        (void)step(t, FC_SIM_PRESSED, NULL, 0);
    } else {
        strcpy(answer, "no such word");
    }
    strcat(answer, "\n");
    if (write(t->door, answer, strlen(answer)) < 0) {
        perror("door");
    }
}

static void hear_door(struct target *t)
{
    ssize_t got = read(t->door, t->request + t->requested, sizeof t->request - 1u - t->requested);
    if (got <= 0) {
        close(t->door);
        t->door = -1;
        t->requested = 0;
        return;
    }
    t->requested += (size_t)got;
    for (char *end; (end = memchr(t->request, '\n', t->requested));) {
        size_t size = (size_t)(end - t->request) + 1u;
        *end = 0;
        answer_door(t, t->request);
        memmove(t->request, t->request + size, t->requested - size);
        t->requested -= size;
    }
    if (t->requested == sizeof t->request - 1u) {
        t->requested = 0; /* no line is so long */
    }
}

/* ---- where it is ------------------------------------------------------------------------------------------------ */

static int loopback(uint16_t *port)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof at;
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    if (fd < 0 || bind(fd, (struct sockaddr *)&at, size) || listen(fd, 1) ||
        getsockname(fd, (struct sockaddr *)&at, &size)) {
        fail("socket");
    }
    *port = ntohs(at.sin_port);
    return fd;
}

static int terminal(char *name, size_t room)
{
    struct termios raw;
    int fd = posix_openpt(O_RDWR | O_NOCTTY);
    if (fd < 0 || grantpt(fd) || unlockpt(fd) || ptsname_r(fd, name, room)) {
        fail("pseudo-terminal");
    }
    int other = open(name, O_RDWR | O_NOCTTY); /* kept open, so that whoever leaves does not end the line */
    if (other < 0 || tcgetattr(other, &raw)) {
        fail(name);
    }
    cfmakeraw(&raw);
    tcsetattr(other, TCSANOW, &raw);
    return fd;
}

static int accept_one(int listening)
{
    int one = 1, fd = accept(listening, NULL, NULL);
    setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    return fd;
}

static void live(struct target *t)
{
    for (;;) {
        uint64_t next = step(t, FC_SIM_NOTHING, NULL, 0), now = now_us();
        uint64_t wait = next > now ? next - now : 0;
        wait = wait < 10000u ? wait : 10000u;
        struct pollfd fds[] = {
            {.fd = STDIN_FILENO, .events = POLLIN},
            {.fd = t->line, .events = POLLIN},
            {.fd = t->line < 0 ? t->listening : -1, .events = POLLIN},
            {.fd = t->door, .events = POLLIN},
            {.fd = t->door < 0 ? t->door_listening : -1, .events = POLLIN},
        };
        struct timespec some = {.tv_nsec = (long)wait * 1000};
        (void)ppoll(fds, 5, &some, NULL);
        if (fds[0].revents) {
            char ignored[64];
            if (read(STDIN_FILENO, ignored, sizeof ignored) <= 0) {
                return;
            }
        }
        if (fds[1].revents) {
            uint8_t data[512];
            ssize_t got = read(t->line, data, sizeof data);
            if (got > 0) {
                (void)step(t, FC_SIM_BYTES, data, (size_t)got);
            } else if (t->listening >= 0) {
                close(t->line);
                t->line = -1;
            }
        }
        if (fds[2].revents) {
            t->line = accept_one(t->listening);
        }
        if (fds[3].revents) {
            hear_door(t);
        }
        if (fds[4].revents) {
            t->door = accept_one(t->door_listening);
        }
        show_pad(t);
    }
}

int main(int argc, char **argv)
{
    static struct target t = {.listening = -1, .line = -1, .door = -1, .flash = -1};
    uint8_t hardware[8] = "posx\x5e\xe0\x00\x03", secret[16] = "invented secret";
    bool socketed = false;
    char name[64] = "";
    uint16_t port = 0, door;
    for (int i = 1; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        if (!strcmp(argv[i], "--socket")) {
            socketed = true;
        } else if (!strcmp(argv[i], "--flash") && (t.flash = open(value, O_RDWR | O_CREAT, 0600)) >= 0) {
            i++;
        } else if (!strcmp(argv[i], "--hardware") && unhex(value, hardware, 8) == 8) {
            i++;
        } else if (!strcmp(argv[i], "--secret") && unhex(value, secret, 16) == 16) {
            i++;
        } else {
            fprintf(stderr, "use: %s [--socket] [--flash FILE] [--hardware HEX16] [--secret HEX32]\n", argv[0]);
            return 2;
        }
    }
    t.sim =
        fc_sim_new(hardware, secret, "posix 1",
                   FC_CAN_PAD | FC_CAN_TRANSMITTER | FC_CAN_LEVELS | FC_CAN_THERMOMETER | FC_CAN_SLEEP | FC_CAN_BUTTON |
                       FC_CAN_TRACES,
                   false, 64, (uint32_t)now_us());
    if (t.flash >= 0 && pread(t.flash, t.sim->flash, FC_SIM_FLASH, 0) < 0) {
        fail("flash");
    }
    if (socketed) {
        t.listening = loopback(&port);
        snprintf(name, sizeof name, "127.0.0.1:%u", port);
    } else {
        t.line = terminal(name, sizeof name);
    }
    t.door_listening = loopback(&door);
    power_on(&t);
    printf("{\"%s\": \"%s\", \"door\": \"127.0.0.1:%u\", \"secret\": \"", socketed ? "socket" : "port", name, door);
    for (unsigned i = 0; i < sizeof secret; i++) {
        printf("%02x", secret[i]);
    }
    printf("\", \"target\": \"%02x%02x%02x%02x\"}\n", hardware[4], hardware[5], hardware[6], hardware[7]);
    fflush(stdout);
    live(&t);
    keep(&t);
    return 0;
}
