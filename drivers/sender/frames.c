#include "frames.h"

#include <string.h>

#ifdef __AVR__
#include <util/crc16.h>
#else
static uint16_t _crc_xmodem_update(uint16_t crc, uint8_t byte)
{
    crc ^= (uint16_t)(byte << 8);
    for (uint8_t bit = 0; bit < 8; bit++)
        crc = (uint16_t)(crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1);
    return crc;
}
#endif

/* A frame that is being stuffed: where the next byte goes, and where the distance to the next zero is owed. */
typedef struct {
    uint8_t *wire;
    uint16_t at;
    uint16_t code_at;
    uint16_t crc;
} stuffing_t;

static void stuff(stuffing_t *s, uint8_t byte)
{
    if (byte == 0) {
        s->wire[s->code_at] = (uint8_t)(s->at - s->code_at);
        s->code_at = s->at++;
    } else {
        s->wire[s->at++] = byte;
    }
}

static void begin(stuffing_t *s, uint8_t *wire)
{
    s->wire = wire;
    s->code_at = 0;
    s->at = 1;
    s->crc = 0xFFFF;
}

static void put(stuffing_t *s, uint8_t byte)
{
    s->crc = _crc_xmodem_update(s->crc, byte);
    stuff(s, byte);
}

static void put_16(stuffing_t *s, uint16_t value)
{
    put(s, (uint8_t)value);
    put(s, (uint8_t)(value >> 8));
}

static void put_32(stuffing_t *s, uint32_t value)
{
    put_16(s, (uint16_t)value);
    put_16(s, (uint16_t)(value >> 16));
}

static void put_float(stuffing_t *s, float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    put_32(s, bits);
}

static uint16_t end(stuffing_t *s)
{
    const uint16_t crc = s->crc;
    stuff(s, (uint8_t)crc);
    stuff(s, (uint8_t)(crc >> 8));
    s->wire[s->code_at] = (uint8_t)(s->at - s->code_at);
    s->wire[s->at++] = 0;
    return s->at;
}

uint16_t frames_describe(uint8_t *wire, uint32_t period_ns, float torque_per_count, float angle_per_count, const char *text)
{
    stuffing_t s;
    begin(&s, wire);
    put(&s, 'D');
    put(&s, 1);
    put(&s, sizeof(int32_t));
    put(&s, sizeof(int32_t));
    put_32(&s, period_ns);
    put_float(&s, torque_per_count);
    put_float(&s, angle_per_count);
    while (*text)
        put(&s, (uint8_t)*text++);
    return end(&s);
}

uint16_t frames_samples(uint8_t *wire, uint16_t number, uint32_t last_us, const sample_t *samples, uint8_t count)
{
    stuffing_t s;
    begin(&s, wire);
    put(&s, 'S');
    put_16(&s, number);
    put_32(&s, last_us);
    for (uint8_t i = 0; i < count; i++) {
        put_32(&s, (uint32_t)samples[i].torque);
        put_32(&s, (uint32_t)samples[i].angle);
    }
    return end(&s);
}
