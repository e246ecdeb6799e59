"""What the person touches: session, recorder, trace files, window, terminal, command line. Composes `drivers` and `analysis`."""
