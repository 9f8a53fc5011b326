/* The bus: interrupts move bytes between the UART and one ring each way, and do nothing else. */
#include "bench.h"
#include "board.h"
#include "registers.h"

#define RX_RING 256u /* two of the longest frames: what comes while the loop is held up for 22 ms */
#define TX_RING 256u

static volatile uint8_t rx[RX_RING], tx[TX_RING];
static volatile uint32_t rx_in, rx_out, tx_in, tx_out;
static uint64_t rx_us; /* when the last byte came */
static volatile bool listens = true;

void uart_rx_irq(void);
void uart_tx_irq(void);

void uart_begin(uint32_t baud)
{
    UART_BAUDDIV(0) = CLOCK_HZ / baud;
    UART_CTRL(0) = UART_TX_ON | UART_RX_ON | UART_TX_INT | UART_RX_INT;
    UART_BAUDDIV(1) = CLOCK_HZ / baud;
    UART_CTRL(1) = UART_TX_ON;
    NVIC_ENABLE = 1u << IRQ_UART0_RX | 1u << IRQ_UART0_TX;
}

void uart_rx_irq(void)
{
    UART_INT(0) = UART_INT_RX; /* first: a byte that comes from here on calls again, and none is left lying */
    while (UART_STATE(0) & UART_RX_FULL) {
        rx_us = clock_us();
        uint8_t byte = (uint8_t)UART_DATA(0);
        if (!listens) {
            continue;
        }
        if (rx_in - rx_out < RX_RING) {
            rx[rx_in % RX_RING] = byte;
            rx_in++;
        } else {
            BENCH.overruns++;
        }
    }
    if (UART_STATE(0) & UART_RX_OVERRUN) {
        UART_STATE(0) = UART_RX_OVERRUN;
        BENCH.overruns++;
    }
}

/* Emulated bytes would wait for a receiver that is off; on a wire they are gone. */
void uart_listen(bool on)
{
    listens = on;
}

bool uart_waits(void)
{
    return rx_in != rx_out;
}

uint32_t uart_take(uint8_t *data, uint32_t room, uint64_t *last_us)
{
    uint32_t before = board_lock();
    uint32_t waiting = rx_in;
    *last_us = rx_us;
    board_unlock(before);
    uint32_t size = 0;
    while (rx_out != waiting && size < room) {
        data[size++] = rx[rx_out % RX_RING];
        rx_out++;
    }
    return size;
}

/* With interrupts off, or from the interrupt. */
static void send_next(void)
{
    if (tx_in != tx_out && !(UART_STATE(0) & UART_TX_FULL)) {
        uint8_t byte = tx[tx_out % TX_RING];
        tx_out++;
        bench_publish(); /* the world must not hear a byte before the time at which it left */
        UART_DATA(0) = byte;
    }
}

void uart_tx_irq(void)
{
    UART_INT(0) = UART_INT_TX;
    send_next();
}

bool uart_give(const uint8_t *data, uint32_t size)
{
    if (size > TX_RING - (tx_in - tx_out)) {
        return false;
    }
    for (uint32_t i = 0; i < size; i++) {
        tx[(tx_in + i) % TX_RING] = data[i];
    }
    uint32_t before = board_lock();
    tx_in += size;
    send_next();
    board_unlock(before);
    return true;
}

void uart_say(const char *text)
{
    for (; *text; text++) {
        while (UART_STATE(1) & UART_TX_FULL) {
        }
        UART_DATA(1) = (uint8_t)*text;
    }
}
