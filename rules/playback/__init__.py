"""Takes that are played in time: what of a file is to be sent when, and what is due by now.

One end reads a take and lays out what it sends, turn by turn of a loop (`take_stream`); the other keeps what is to come
and says when it is due (`playback`). No clock is read and nothing is sent here. Start with `take_stream`.
"""
