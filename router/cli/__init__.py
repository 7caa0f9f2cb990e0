"""The command line: one module a command, with its options, its texts, what it does and its `--json`.

What a command does with rules, ports or files lives in the rooms above; here it is asked and told. What only some
commands need is imported in functions, since start-up counts. Start with `main`, then `commands`.
"""
