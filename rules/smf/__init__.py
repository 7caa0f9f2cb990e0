"""Standard MIDI Files as bytes: read, rewrite and write without losing one.

What holds everywhere in this package:

* Bytes in, bytes out. What no rule touches keeps its form: padded numbers, running status, odd meta events, text in
  any charset, unknown chunks, bytes after the end. Keeping every event gives the identical file.
* Nothing is guessed. Damage that leaves no doubt about the music is noted with its byte and read around; what leaves
  doubt is refused with its byte (`MidiFileError`), and a strict reading refuses both.
* Time is whole ticks; milliseconds are exact fractions, rounded once.

| module | what it knows | RP-001 section |
|---|---|---|
| `vlq` | variable-length quantities | Conventions |
| `chunks` | where tracks lie, with right lengths and wrong ones | Chunks |
| `wrapper` | the RIFF form around a file | (from memory) |
| `midi_file` | the header, the file as a whole | Header Chunks, Formats |
| `scanning` | the events of a track | Track Chunks, meta-event |
| `tempo` | ticks, milliseconds, beats | Set Tempo, Calculating Delta Times |
| `writing` | tracks and files, as they were where they were not changed | all of these |
"""
