"""What the page of a server has around a report: ways to other pages, and forms at findings."""

from __future__ import annotations

from dataclasses import dataclass, replace

#: Stands in a page where it says what a write did; replaced when it is sent.
SAID = "<!--said-->"


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A link to another page; ``here`` where it is this one."""

    words: str
    href: str
    here: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What a saved report lacks and a served one has.

    Attributes
    ----------
    ways : tuple of Way
    note : str
        Where the form at a finding leads, which notes what was done; "" for no form.
    mark : str
        Where the form at the timeline leads, which marks a moment; "" for no form.
    settings : str
        Where what the aircraft is made of can be answered; "" where a command does it.
    guide : str
        The page of the guide that explains findings; "" for none.
    more : Way, optional
        What else can be done, at the end of the page.
    """

    ways: tuple[Way, ...] = ()
    note: str = ""
    mark: str = ""
    settings: str = ""
    guide: str = ""
    more: Way | None = None

    def with_more(self, words: str, href: str) -> Around:
        """The same with a way at the end of the page."""
        return replace(self, more=Way(words=words, href=href))

    def nowhere(self) -> Around:
        """Without any way, for who has no key."""
        return Around()
