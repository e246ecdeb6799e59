/* A bench for the reference sender, around a simulated microcontroller (simavr, Debian: libsimavr-dev, libelf-dev).
 *
 * usage: sender_bench FIRMWARE.elf < EVENTS > BYTES
 * Events, one a line, by rising time: "MICROSECONDS C VALUE" a conversion is ready, "MICROSECONDS E AB" the encoder's pins change.
 * What the UART sends goes to standard output. Plays a 24-bit bridge converter read by two pins, and an encoder's two pins.
 */

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>

#define DATA_PIN 2
#define CLOCK_PIN 3

static avr_t *avr;
static avr_irq_t *data_irq, *a_irq, *b_irq;
static unsigned value, clocked = 25;

static unsigned long event_us;
static char event_kind;
static long event_value;
static int done;

static void read_event(void)
{
    if (scanf("%lu %c %ld", &event_us, &event_kind, &event_value) != 3)
        done = 1;
}

static void on_clock(struct avr_irq_t *irq, uint32_t level, void *param)
{
    (void)irq, (void)param;
    if (!level || clocked >= 25)
        return;
    clocked++;
    avr_raise_irq(data_irq, clocked <= 24 ? (value >> (24 - clocked)) & 1 : 1);
}

static void on_byte(struct avr_irq_t *irq, uint32_t byte, void *param)
{
    (void)irq, (void)param;
    putchar((int)byte);
}

static void play_event(void)
{
    if (event_kind == 'C') {
        value = (unsigned)event_value & 0xFFFFFF;
        clocked = 0;
        avr_raise_irq(data_irq, 1);
        avr_raise_irq(data_irq, 0);
    } else {
        avr_raise_irq(a_irq, (event_value >> 1) & 1);
        avr_raise_irq(b_irq, event_value & 1);
    }
}

/* The library would wait in real time while the microcontroller sleeps. */
static void sleep_not(avr_t *self, avr_cycle_count_t cycles)
{
    (void)self, (void)cycles;
}

/* Standard output is the UART's alone. */
static void say_nothing(avr_t *self, const int level, const char *format, va_list list)
{
    (void)self, (void)level, (void)format, (void)list;
}

int main(int count, char **words)
{
    avr_global_logger_set(say_nothing);
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    if (count != 2 || elf_read_firmware(words[1], &firmware) != 0) {
        fprintf(stderr, "usage: sender_bench FIRMWARE.elf < EVENTS > BYTES\n");
        return 2;
    }
    avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    firmware.frequency = 16000000;
    avr_load_firmware(avr, &firmware);
    avr->sleep = sleep_not;

    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);

    data_irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), DATA_PIN);
    a_irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), 0);
    b_irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), 1);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), CLOCK_PIN), on_clock, NULL);
    avr_raise_irq(data_irq, 1);
    avr_ioport_external_t encoder = {.name = 'C', .mask = 3, .value = 0}; /* stronger than the pull-ups */
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('C'), &encoder);
    avr_raise_irq(a_irq, 0);
    avr_raise_irq(b_irq, 0);

    unsigned long until_us = 0;
    read_event();
    for (;;) {
        const unsigned long now_us = (unsigned long)(avr->cycle / 16);
        if (!done && now_us >= event_us) {
            play_event();
            until_us = event_us + 30000;
            read_event();
        }
        if (done && now_us > until_us)
            break;
        const int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the firmware ended\n");
            return 1;
        }
    }
    return 0;
}
