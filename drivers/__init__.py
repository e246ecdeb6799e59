"""Lines, bytes, protocols. Of `analysis` only the vocabulary is known here.

bytes -> `line` -> a codec (`text`, `frames`, `modbus`) -> `timebase` -> Trace pieces out of a `source`.
`emulated` is the pretend bench: a process of its own that ends at the bytes.
"""
