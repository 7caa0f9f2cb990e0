"""What shall happen to MIDI messages: the pure core of Pointsman.

Nothing here touches ports, files, clocks, threads or logs. Values come in, values go out; time is an argument and
file contents are bytes or text. The package `router` owns every effect and imports this one, never the other way.
"""
