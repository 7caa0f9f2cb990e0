"""What `rewrite` was asked to do."""

from __future__ import annotations

from typing import NamedTuple


class RewriteSettings(NamedTuple):
    """What `rewrite` shall do. `rules` and `files` are files and folders as they were written.

    `out` names a file or folder, None with `in_place` or without a place to write; `playing` are the texts of `--from`;
    `jobs`
    is the number of worker processes, None for as many as there are cores. `again` applies rules in place to what they
    made; `undo` are files and folders to restore, and then there are no rules.
    """

    rules: tuple[str, ...]
    files: tuple[str, ...]
    out: str | None = None
    in_place: bool = False
    playing: tuple[str, ...] = ()
    per_port: bool = False
    dry_run: bool = False
    strict: bool = False
    json: bool = False
    jobs: int | None = None
    force: bool = False
    resume: bool = False
    quiet: bool = False
    follow_links: bool = False
    again: bool = False
    undo: tuple[str, ...] = ()
