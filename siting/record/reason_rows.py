"""One row of the reasoning behind a site."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that was measured, asked, compared or computed.

    Parameters
    ----------
    part
        What it belongs to: ``measured``, ``flood``, ``limits``, ``alternatives``, ``sizes``,
        ``spacing``, ``pair``, ``benefit`` or ``rank``.
    subject
        What it is about.
    verdict
        ``holds``, ``fails``, ``chosen``, ``not chosen``, or nothing.
    text
        Sentences.
    source, basis
        Where it comes from, and what kind of source that is.
    """

    part: str
    subject: str
    verdict: str
    text: str
    source: str
    basis: str
