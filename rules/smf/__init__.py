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
| `riff` | the RIFF form around a file | (from memory) |
| `midi_file` | the header, the file as a whole | Header Chunks, Formats |
| `track_events` | the events of a track | Track Chunks, sysex event, meta-event |
| `tempo` | ticks, milliseconds, beats | Set Tempo, Calculating Delta Times |
| `bars` | bars and beats | Time Signature |
| `writing` | tracks and files, as they were where they were not changed | all of these |

`rewriting` takes a file through the rules, by the fastest route that applies:

| route | when | modules |
|---|---|---|
| patch | tables alone decide, and no message changes its length | `patch_route` |
| stream | tables alone decide | `stream_route` |
| general | always | `general_route`, `event_order`, `single_track` for a track that no other concerns |

`static_sources` says of which sources tables alone decide. `answers` lays their tables out for the first two routes,
which `table_routes` runs. `file_rewrite`, `rule_counts` and `report` say what came of a file. `take_playing` gives what
goes out message by message, for who looks at a take and writes none.
"""
