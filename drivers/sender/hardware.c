/* For an ATmega328P at 16 MHz: timer 1 tells the time, INT0 sees a conversion ready, pin changes on port C turn the encoder. */

#include "hardware.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "settings.h"

/* -- clock: timer 1 at 2 MHz, its overflows counted ---------------------------------------------------------------------------- */

static volatile uint32_t overflows;

ISR(TIMER1_OVF_vect)
{
    overflows++;
}

/* With interrupts off. An overflow that has not been served yet is counted in. */
static uint32_t clock_us_inside(void)
{
    const uint16_t ticks = TCNT1;
    uint32_t high = overflows;
    if ((TIFR1 & _BV(TOV1)) && ticks < 0x8000)
        high++;
    return (high << 15) | (ticks >> 1);
}

uint32_t clock_us(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        now = clock_us_inside();
    }
    return now;
}

/* -- encoder: every edge of A and B counts one -------------------------------------------------------------------------------- */

static volatile int32_t encoder_count;
static uint8_t encoder_state;

static uint8_t encoder_pins(void)
{
    const uint8_t pins = PINC;
    return (uint8_t)((pins & _BV(ENCODER_A) ? 2 : 0) | (pins & _BV(ENCODER_B) ? 1 : 0));
}

ISR(PCINT1_vect)
{
    /* Row: state before, column: state now. A leads B when turning forward. A double step tells nothing and is not counted. */
    static const int8_t step[16] = {0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0};
    const uint8_t now = encoder_pins();
    encoder_count += step[(encoder_state << 2) | now];
    encoder_state = now;
}

/* -- converter: two pins, data low when ready, 24 clocks out the value, a 25th keeps channel and gain --------------------------- */

static volatile bool bridge_ready;
static volatile uint32_t ready_us;
static volatile int32_t ready_angle;

ISR(INT0_vect)
{
    /* Time and angle belong to the moment of the conversion, whenever the value is fetched. */
    ready_us = clock_us_inside();
    ready_angle = encoder_count;
    bridge_ready = true;
    EIMSK &= (uint8_t)~_BV(INT0); /* the data pin moves while it is clocked out */
}

static uint8_t bridge_clock(void)
{
    uint8_t level;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) /* a clock held high for long puts the converter to sleep */
    {
        PORTD |= _BV(BRIDGE_CLOCK);
        _delay_us(1);
        level = PIND & _BV(BRIDGE_DATA) ? 1 : 0;
        PORTD &= (uint8_t)~_BV(BRIDGE_CLOCK);
    }
    _delay_us(1);
    return level;
}

bool bridge_fetch(conversion_t *conversion)
{
    if (!bridge_ready)
        return false;
    uint32_t raw = 0;
    for (uint8_t bit = 0; bit < 24; bit++)
        raw = (raw << 1) | bridge_clock();
    bridge_clock();
    conversion->torque = (int32_t)(raw << 8) >> 8;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        conversion->angle = ready_angle;
        conversion->time_us = ready_us;
        bridge_ready = false;
        EIFR = _BV(INTF0);
        EIMSK |= _BV(INT0);
    }
    return true;
}

/* -- UART: a ring that the interrupt empties; its indices wrap by themselves ---------------------------------------------------- */

static volatile uint8_t ring[256];
static volatile uint8_t ring_in, ring_out;

ISR(USART_UDRE_vect)
{
    if (ring_in == ring_out)
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    else
        UDR0 = ring[ring_out++];
}

bool uart_queue(const uint8_t *bytes, uint8_t count)
{
    const uint8_t used = (uint8_t)(ring_in - ring_out);
    if (count > 255 - used)
        return false;
    for (uint8_t i = 0; i < count; i++)
        ring[(uint8_t)(ring_in + i)] = bytes[i];
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        ring_in = (uint8_t)(ring_in + count);
        UCSR0B |= _BV(UDRIE0);
    }
    return true;
}

/* -- all together -------------------------------------------------------------------------------------------------------------- */

void hardware_start(void)
{
    DDRD |= _BV(BRIDGE_CLOCK);
    PORTC |= _BV(ENCODER_A) | _BV(ENCODER_B); /* pull-ups, for encoders with open outputs */
    encoder_state = encoder_pins();
    PCMSK1 = _BV(ENCODER_A) | _BV(ENCODER_B);
    PCICR = _BV(PCIE1);

    TCCR1B = _BV(CS11);
    TIMSK1 = _BV(TOIE1);

    EICRA = _BV(ISC01); /* falling edge of the converter's data */
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);

    UBRR0 = F_CPU / 8 / BAUD - 1;
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(TXEN0);

    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
}

void wait_for_interrupt(void)
{
    cli();
    if (!bridge_ready) {
        sleep_enable();
        sei(); /* the instruction after it still runs before any interrupt: nothing can slip in between */
        sleep_cpu();
        sleep_disable();
    }
    sei();
}
