/* Reference sender: reads the bridge converter and the encoder, sends frames. See README.md here for wiring and calibration. */

#include "frames.h"
#include "hardware.h"
#include "settings.h"

#define RAW_TOP 0x7FFFFFL

_Static_assert(SAMPLES_PER_FRAME >= 1 && SAMPLES_PER_FRAME <= 28, "a frame must fit the ring of the UART");

static uint8_t wire[FRAMES_LONGEST_WIRE];

static bool describe(void)
{
    static const char text[] = TORQUE_UNIT ";" ANGLE_UNIT ";" DEVICE_NAME;
    const uint32_t period_ns = 1000000000UL / SAMPLES_PER_SECOND;
    return uart_queue(wire, (uint8_t)frames_describe(wire, period_ns, TORQUE_PER_COUNT, ANGLE_PER_COUNT, text));
}

/* At its stops the converter is beyond its range. */
static int32_t torque_of(int32_t raw)
{
    if (raw >= RAW_TOP)
        return TORQUE_ABOVE_RANGE;
    if (raw <= -RAW_TOP - 1)
        return TORQUE_BELOW_RANGE;
    return raw;
}

int main(void)
{
    static sample_t samples[SAMPLES_PER_FRAME];
    uint8_t filled = 0;
    uint16_t number = 0; /* of the first sample in the frame that is being filled */
    uint32_t described_us = 0;

    hardware_start();
    uart_queue((const uint8_t[]){0}, 1);
    describe();
    for (;;) {
        conversion_t conversion;
        if (bridge_fetch(&conversion)) {
            samples[filled].torque = torque_of(conversion.torque);
            samples[filled].angle = conversion.angle;
            if (++filled == SAMPLES_PER_FRAME) {
                /* Where the line is too slow the frame is lost as a whole, and the next number tells. */
                uart_queue(wire, (uint8_t)frames_samples(wire, number, conversion.time_us, samples, filled));
                number += filled;
                filled = 0;
            }
        }
        if (clock_us() - described_us >= DESCRIBE_EVERY_US && describe())
            described_us = clock_us();
        wait_for_interrupt();
    }
}
