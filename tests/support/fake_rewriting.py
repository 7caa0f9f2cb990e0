"""Hand-written stand-ins for what does the work, so that the shell around it can be tested by itself."""

from __future__ import annotations

import os
import signal
from dataclasses import dataclass

from router.batch.job import StartedJob, WritingOptions, start_job
from router.batch.plan import Job
from router.batch.workers import StartJob
from rules.errors import MidiFileError
from rules.smf.damage import Damage
from rules.smf.report import FileReport, Rewritten

RULE = "louder"
WRITING = WritingOptions()


def report(messages: int = 3, changed: int = 1, matched: int = 3, unended: int = 0) -> FileReport:
    """A report of a file with so many messages."""
    return FileReport(
        messages=messages,
        changed=changed,
        dropped=0,
        added=2,
        unended=unended,
        matched={RULE: matched},
        drops={},
        route="stream",
        damage=(),
        remarks=(),
    )


class FakeRewriter:
    """Answers by what a file says: `same`, `bad` (not a MIDI file), `bug`, `huge`, `damaged`, `die`; else in capitals.

    With `ports`, a result for each of them, named in it; a file that says `silent` plays on none.
    """

    def __init__(self, *ports: str) -> None:
        self.ports = ports

    def rewrite(self, data: bytes) -> Rewritten:
        """Return the results, or fail as the file says."""
        word = data.decode().strip()
        if word == "bad":
            raise MidiFileError(7, "not a Standard MIDI File")
        if word == "bug":
            raise ValueError("one and one is three")
        if word == "huge":
            raise MemoryError
        if word == "die":
            os.kill(os.getpid(), signal.SIGKILL)
        told = report(messages=len(data), matched=0 if word == "same" else len(data))
        if word == "damaged":
            told.damage = (Damage(22, "the track is cut off"),)
            told.remarks = ("channel 10 was transposed",)
        new = data if word == "same" else data.upper()
        ports = () if word == "silent" else self.ports
        return Rewritten({port: new + port.encode() for port in ports} if self.ports else {"": new}, told)


class JobList(list[Job]):
    """Jobs in a list."""

    def size(self, at: int) -> int:
        """The bytes of the file of one job."""
        return self[at].size


@dataclass(frozen=True)
class FakeRecipe:
    """Makes what begins jobs with a fake rewriter, in a worker."""

    options: WritingOptions = WRITING

    def __call__(self) -> StartJob:
        """Return what begins a job."""
        return self.start_job

    def start_job(self, job: Job) -> StartedJob:
        """Begin a job."""
        return start_job(job, FakeRewriter(), self.options)
