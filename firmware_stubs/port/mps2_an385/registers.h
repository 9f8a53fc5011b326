/* Registers of mps2-an385 that this port uses (Arm's CMSDK peripherals and the Cortex-M3's own). */
#ifndef MPS2_REGISTERS_H
#define MPS2_REGISTERS_H

#include <stdint.h>

#define CLOCK_HZ 25000000u

#define REG(address) (*(volatile uint32_t *)(address))

/* UART 0 is the bus, UART 1 text for people. */
#define UART_DATA(n) REG(0x40004000u + 0x1000u * (n))
#define UART_STATE(n) REG(0x40004004u + 0x1000u * (n))
#define UART_CTRL(n) REG(0x40004008u + 0x1000u * (n))
#define UART_INT(n) REG(0x4000400cu + 0x1000u * (n))
#define UART_BAUDDIV(n) REG(0x40004010u + 0x1000u * (n))
#define UART_TX_FULL 1u
#define UART_RX_FULL 2u
#define UART_RX_OVERRUN 8u
#define UART_TX_ON 1u
#define UART_RX_ON 2u
#define UART_TX_INT 4u
#define UART_RX_INT 8u
#define UART_INT_TX 1u
#define UART_INT_RX 2u

/* Both halves of the dual timer: the first is the clock, the second wakes the processor. */
#define DUAL1_VALUE REG(0x40002004u)
#define DUAL1_CTRL REG(0x40002008u)
#define DUAL1_INTCLR REG(0x4000200cu)
#define DUAL2_LOAD REG(0x40002020u)
#define DUAL2_CTRL REG(0x40002028u)
#define DUAL2_INTCLR REG(0x4000202cu)
#define DUAL_ONCE 0x01u
#define DUAL_32BIT 0x02u
#define DUAL_INT 0x20u
#define DUAL_RELOAD 0x40u
#define DUAL_ON 0x80u

#define WATCHDOG_LOAD REG(0x40008000u)
#define WATCHDOG_CTRL REG(0x40008008u)
#define WATCHDOG_INTCLR REG(0x4000800cu)
#define WATCHDOG_LOCK REG(0x40008c00u)
#define WATCHDOG_KEY 0x1ACCE551u
#define WATCHDOG_ON 3u /* first an interrupt (the NMI), then a reset */

#define NVIC_ENABLE REG(0xE000E100u)
#define NVIC_DISABLE REG(0xE000E180u)
#define SCB_AIRCR REG(0xE000ED0Cu)
#define AIRCR_RESET 0x05FA0004u

#define IRQ_UART0_RX 0u
#define IRQ_UART0_TX 1u
#define IRQ_DUALTIMER 10u
#define IRQS 32u

#endif
