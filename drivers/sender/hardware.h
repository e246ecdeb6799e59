/* The four pieces of hardware: clock, converter, encoder, UART. */

#ifndef HARDWARE_H
#define HARDWARE_H

#include <stdbool.h>
#include <stdint.h>

/* A conversion as it came: raw counts (24 bits, sign extended), the encoder and the clock at the moment it was ready. */
typedef struct {
    int32_t torque;
    int32_t angle;
    uint32_t time_us;
} conversion_t;

void hardware_start(void);

/* Microseconds since the start; rolls over at 2^32. */
uint32_t clock_us(void);

/* Fetches a conversion that is ready; false if none is. */
bool bridge_fetch(conversion_t *conversion);

/* Queues bytes whole, or not at all where they do not fit; tells which. */
bool uart_queue(const uint8_t *bytes, uint8_t count);

/* Sleeps until something happens. */
void wait_for_interrupt(void);

#endif
