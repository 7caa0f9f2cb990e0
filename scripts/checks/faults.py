"""What can be wrong with a text that a person reads: a sentence that is too long, a word that players stumble over."""

from __future__ import annotations

import re
from typing import NamedTuple

MOST_WORDS = 25

HOLE = "\ufffc"  # in place of what only the running program knows

# What to look for, and what to write instead.
AVOIDED = [
    (r"stands?|stood|standing", "is"),
    (r"lies?|lain|lying", "is, is saved in"),
    (r"tells?|told|telling", "report, show"),
    (r"anew", "again"),
    (r"mend(?:s|ed|ing)?", "repair"),
    (r"beside", "next to, while"),
    (r"swallow(?:s|ed|ing)?", "discard"),
    (r"shall", "the present tense"),
    (r"by turns", "alternately"),
    (r"so long", "for that long"),
    (r"in whatever way", "however"),
    (r"(?:left|leaves?|leaving)(?: \w+)? away", "omitted"),
    (r"(?:came|comes?) of it", "result"),
    (r"whoever", "a person, or what acts"),
    (r"we|ours?|us", "Pointsman, or the program that acts"),
    (rf"no [\w{HOLE}]+ of this name", "there is no X named ..."),
    (rf"(?<!there )(?:is|are) no (?!longer\b|more\b)[\w{HOLE}-]+", "isn't a Y"),
]
PATTERNS = [(re.compile(rf"(?<![\w-])(?:{words})(?![\w-])", re.IGNORECASE), instead) for words, instead in AVOIDED]


class Text(NamedTuple):
    """A piece of text that a person reads: a paragraph, a list item, a table cell, a message."""

    path: str
    first: int  # line
    last: int
    words: str
    where: str  # what it belongs to in the program; empty in a page


class Fault(NamedTuple):
    """What is wrong with a text, and the words by which its line is found."""

    what: str
    found: str


def sentences(text: str) -> list[str]:
    """The sentences of a paragraph. Three dots end none, and nor does a dot within a word or a number."""
    return [part for part in re.split(r"(?<!\.\.)(?<=[.!?])[\"')\]*]*\s+", text.strip()) if part]


def word_count(sentence: str) -> int:
    """How many words a sentence has. A list of code, or of five words and more with commas, counts as one."""
    sentence = re.sub(rf"{HOLE}(?:,? (?:and |or )?{HOLE})+", HOLE, sentence)
    sentence = re.sub(r"(?<![\w-])[\w-]+(?:, [\w-]+){4,}(?:,? (?:and|or) [\w-]+)?", HOLE, sentence)
    return sum(1 for word in sentence.split() if re.search(rf"[\w{HOLE}]", word))


def without_code(text: str) -> str:
    """Code in backticks is one word, whatever it says."""
    return re.sub(r"`[^`]*`", HOLE, text)


def faults(text: str) -> list[Fault]:
    """Everything that is wrong with a text."""
    plain = re.sub(r"\s+", " ", without_code(text))
    found = []
    for sentence in sentences(plain):
        if (count := word_count(sentence)) > MOST_WORDS:
            start = " ".join(sentence.split()[:6])
            found.append(Fault(f"a sentence of {count} words, {MOST_WORDS} are the most: {shown(start)} ...", start))
    for pattern, instead in PATTERNS:
        for match in pattern.finditer(plain):
            found.append(Fault(f'"{shown(match[0])}": write {instead}', match[0]))
    return found


def shown(text: str) -> str:
    return text.replace(HOLE, "...")


def is_text(text: str) -> bool:
    """Whether a person reads it as words: at least two of them, or one that is to be avoided."""
    words = [word for word in text.split() if re.search(rf"[A-Za-z{HOLE}]", word)]
    if len(words) < 2:
        return bool(faults(text))
    return re.search(r"(?<![A-Za-z])[a-z]{2}", text) is not None


def line_of(text: Text, fault: Fault, lines: list[str]) -> int:
    """The line in which a fault is, as far as its words can be found; else the one where the text begins."""
    found = shown(fault.found).split("...")[0].strip()
    for words in (found, " ".join(found.split()[:3]), found.split()[0] if found else ""):
        for number in range(text.first, text.last + 1):
            if words and words.lower() in re.sub(r"\s+", " ", lines[number - 1]).lower():
                return number
    return text.first
