"""Lines, bytes, protocols. Of `analysis` only the vocabulary is known here.

    bytes -> line -> codec (text, frames, modbus) -> unwrap, timebase -> Trace pieces out of a source

profile     a device in TOML, read key by key (keys), refusals that name file, key and what is expected
line        the port; only importer of pyserial        clock       time as an object that is handed in
codec       Reading, WireFaults, what a decoder is     wiring      decoder, time base and scales, from a profile
text        lines; frames: binary of our own, specified in its docstring; modbus: asked devices, only importer of pymodbus
source      Source, what it yields, LiveSource: the loop with its care for lines that go away; watch: words for the user
replay      a trace in memory as a source              wirefile    the raw bytes on a file, and back as a line
guess       which profile would read what comes        emulated    the simulated bench: a process of its own that ends at the bytes
"""
