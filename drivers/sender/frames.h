/* Frames as drivers/frames.py specifies them: COBS(body, CRC low, CRC high), 0x00. No hardware in here. */

#ifndef FRAMES_H
#define FRAMES_H

#include <stdint.h>

#define FRAMES_LONGEST_BODY 252
#define FRAMES_LONGEST_WIRE (FRAMES_LONGEST_BODY + 4) /* CRC, the code byte, the end */

#define TORQUE_ABOVE_RANGE INT32_MAX
#define TORQUE_BELOW_RANGE INT32_MIN

typedef struct {
    int32_t torque;
    int32_t angle;
} sample_t;

/* Writes the description frame; returns its length on the wire. `text` is "TORQUE UNIT;ANGLE UNIT;NAME". */
uint16_t frames_describe(uint8_t *wire, uint32_t period_ns, float torque_per_count, float angle_per_count, const char *text);

/* Writes a frame of `count` samples, the first of them numbered `number`, the last taken at `last_us`; returns its length. */
uint16_t frames_samples(uint8_t *wire, uint16_t number, uint32_t last_us, const sample_t *samples, uint8_t count);

#endif
