/* What this device is. Everything that somebody who builds one may want to change stands here. */

#ifndef SETTINGS_H
#define SETTINGS_H

#define DEVICE_NAME "reference sender"
#define TORQUE_UNIT "N.m"
#define ANGLE_UNIT "deg"

/* Torque of one count of the converter and angle of one count of the encoder. These come from the calibration of your own sensor:
   torque known by dead weight, divided by the counts read. A minus sign turns the direction of turning. */
#ifndef TORQUE_PER_COUNT
#define TORQUE_PER_COUNT 4.0e-5f
#endif
#ifndef ANGLE_PER_COUNT
#define ANGLE_PER_COUNT 0.09f /* 1000 lines, four counts a line */
#endif

/* Conversions a second, by the converter's own pin or crystal. */
#ifndef SAMPLES_PER_SECOND
#define SAMPLES_PER_SECOND 80
#endif

/* A frame covers 20 ms at most, and fits the ring of the UART. */
#ifndef SAMPLES_PER_FRAME
#define SAMPLES_PER_FRAME (SAMPLES_PER_SECOND <= 50 ? 1 : SAMPLES_PER_SECOND >= 400 ? 8 : SAMPLES_PER_SECOND / 50)
#endif

/* 16 MHz divides by it without an error; 115200 would be 2 % off. */
#ifndef BAUD
#define BAUD 250000UL
#endif

#define DESCRIBE_EVERY_US 500000UL

/* Wiring: converter's data on PD2, its clock on PD3; encoder's A on PC0, B on PC1; UART as the board has it. */
#define BRIDGE_DATA PD2
#define BRIDGE_CLOCK PD3
#define ENCODER_A PC0
#define ENCODER_B PC1

#endif
