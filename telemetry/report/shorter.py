"""The short form of a report: what a pilot reads before the next flight, for two pages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from telemetry.report.document import Block, Bullets, Document, FindingBlock, Section
from telemetry.report.words import counted

#: Pages of the short form.
SHORT_PAGES = 2
_KEPT = ("findings", "next-flight", "cautions")


def shortened(document: Document) -> Document:
    """A report without its proof: first page, findings, the next flight, cautions.

    Findings keep what they say, where, what to do and how to tell; figures, evidence and causes but
    the first stand in the whole report.
    """
    kept = (s for s in document.sections if s.anchor in _KEPT)
    sections = tuple(replace(s, blocks=tuple(map(_short, s.blocks))) for s in kept)
    return replace(document, sections=sections)


def less_and_less(document: Document) -> Iterator[Document]:
    """A short report, and the same with one thing less each time, until nothing more can go.

    The least serious findings go first, as long as one stays, and the section counts them; then the
    tables for the next flight, the last one first.
    """
    less: Document | None = document
    while less is not None:
        yield less
        less = _with_less(less)


def _with_less(document: Document) -> Document | None:
    for k, section in enumerate(document.sections):
        findings = [b for b in section.blocks if isinstance(b, FindingBlock)]
        if len(findings) > 1:
            return _with(document, k, _without(section, findings[-1]))
    for k, section in enumerate(document.sections):
        if section.anchor == "next-flight" and len(section.blocks) > 1:
            return _with(document, k, replace(section, blocks=section.blocks[:-1]))
    return None


def _short(block: Block) -> Block:
    if not isinstance(block, FindingBlock):
        return block
    return replace(
        block, facts=(), explanations=block.explanations[:1], figure=None, span=None, links=()
    )


def _with(document: Document, k: int, section: Section) -> Document:
    sections = (*document.sections[:k], section, *document.sections[k + 1 :])
    return replace(document, sections=sections)


def _without(section: Section, finding: FindingBlock) -> Section:
    """A section without one finding, which its last line counts."""
    blocks = [b for b in section.blocks if b is not finding]
    left = 1
    if isinstance(last := blocks[-1], Bullets) and last.left_out:
        left += last.left_out
        blocks.pop()
    words = f"{counted(left, 'more finding')} in the whole report."
    return replace(section, blocks=(*blocks, Bullets(items=(words,), left_out=left)))
