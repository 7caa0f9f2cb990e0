"""What a Python program may use: rule files loaded, recordings rewritten, messages played, under names that stay.

No decision about music lives here; the other rooms make them. The package itself names what is public.
Start with `loading`, then `midi_files` and `live_session`.
"""
