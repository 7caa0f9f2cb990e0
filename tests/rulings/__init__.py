"""What a musician can rely on, one case a text file, played on the engine and on the slow model.

`RULINGS.md` lists the rulings. Each folder is a subject, each file name a behaviour. A new case is a new file; nothing
else has to be touched. It looks like this:

    Rulings 9, 22

    The note-off has the delay that the note-on got.

    ----- rules
    [[rules]]
    from = "keys"
    steps = [{ delay = 50 }]
    to = "synth"
    ----- rules after reload
    [[rules]]
    from = "keys"
    to = "synth"
    ----- played
    at 0 keys note-on 1 C4 100
    at 60 reload
    at 70 keys note-off 1 C4 64
    ----- sent
    at 50 synth note-on 1 C4 100
    at 120 synth note-off 1 C4 64

- The head names the rulings that the case is an example of, the one that it shows first. Then it says in a sentence or
  two what can be relied on, and how values that were worked out by hand come about.
- `rules` is a rule file. If it has no `[ports]`, it gets the inputs `keys`, `pads` and `seq`, and the outputs `synth`
  and `rack`.
- `rules after reload` is there once for each `reload` that is played, in their order.
- `played` is a line an event, times in milliseconds, at first at 120 BPM, messages in the notation of rule files (key
  60 is C4, programs count from 1). What starts with F7 is an escape of a file, in hexadecimal.

      at 0 keys note-on 1 C4 100          a message arrives from the port `keys`
      at 0 keys#2 note-on 1 C4 100        the same from a second track of that port
      at 0 keys+take note-on 1 C4 100     the same from a take that plays as that port
      at 5 turn up on                     a switch is set by hand
      at 5 tempo 90                       the tempo is another one from now on, in BPM
      at 5 release keys                   a source is lost; `release keys+take`: the take ends
      at 5 panic                          panic; `at 5 panic every key` adds a note-off for each key
      at 5 begin                          a live session begins
      at 5 return rack                    an output is there again
      at 5 rename keys piano              a port has another name in the next rule file
      at 5 reload                         the next rule file takes over
      at 5 close                          the last event of a file
      at 5 settle                         the end of a file

- `played live` instead is a session, with our clock and those of others, up to its last line: what is pending then
  does not go out. Its lines are those of `tests/support/live_stages.py`, such as these.

      at 5 clock start                    our clock is asked for something by command
      at 5 pull seq                       a source is lost
      at 5 wait                           time passes

- `sent` is all that goes out, in its order: `at 10 synth note-on 1 C4 100`, with `synth#2` for what the second track
  sent, and `synth+take` for what a take did. At the end everything that is still pending goes out. With no line below
  it, nothing may go out.
- Lines that go on alike are written once, indented below a `for`, which may contain others:

      for channel 1..16
        at 4 synth controller {channel} sustain 0

- In `played` and `sent`, a line that begins with `#` is a remark, and so is what follows two blanks and a `#`.
"""
