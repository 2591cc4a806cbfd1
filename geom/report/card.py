"""The card for the bench: one page of what one needs with wet gloves, as PDF."""

from dataclasses import dataclass

import numpy as np

from geom.plan import Plan
from geom.report.cardpage import (
    BLACK,
    GREY,
    LEADING,
    PALE,
    POINT,
    WHITE,
    Page,
    blank_page,
    cut,
    drawable,
    fitted,
    pdf,
    width,
    wrapped,
)
from geom.report.cardsketch import draw_sketches, shown_across, sketch_captions
from geom.report.cardwords import MOST_STEPS, Big, Card, card_words

MARGIN = 9.0  # mm, as are all lengths here
GAP = 3.0  # between blocks
SKETCH_WIDE = 96.0
UPPER = (86.0, 78.0, 70.0, 62.0, 56.0)
"""Heights that sketch and figures may have, the best first."""

STOPPED_UPPER = (62.0, 56.0, 52.0)
"""The same on a card that says not to plate."""

STEPS_HIGH, UNTIMED_HIGH = 17.0, 10.0
ABREAST = 3  # stages that are drawn in a row; more are listed
LABEL, CAPTION = 10.5, 9.5
BLANKS_HIGH = 25.0
TICK = 3.0  # side of the square to tick
SIZES = (11.0, 10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0)  # of the type of the checks
GOOD = 9.5  # large enough not to take room from the sketch
SHARES = ((1.0, 1.0, 1.0), (0.95, 1.1, 0.95), (0.9, 1.2, 0.9), (0.85, 1.3, 0.85), (0.8, 1.35, 0.85), (0.8, 1.4, 0.8))
"""Widths that the columns of checks may have, against one another."""

CAUTIONS = 8.0  # their type, at most


@dataclass(frozen=True, slots=True)
class _Fit:
    """What fits between the steps and the blanks: the type, and how many warnings and cautions are said whole."""

    size: float
    shares: tuple[float, float, float]
    warnings: int
    cautions: int
    apart: float = 0.0  # what is left over between two things to see to


def card_pdf(plan: Plan, *, paper: str = "a4") -> bytes:
    """Return the card of a plan as a PDF file of one page.

    Parameters
    ----------
    plan : the plan that it shows
    paper : "a4" or "letter"

    Returns
    -------
    The file; the same plan gives the same bytes.
    """
    words = card_words(plan)
    return pdf(card_page(plan, words, paper), f"Plating card: {drawable(words.title)}")


def card_page(plan: Plan, words: Card, paper: str) -> Page:
    """Return the card drawn on a page."""
    page = blank_page(paper)
    y = _header(page, words, MARGIN)
    y = _stop(page, words, y)
    bottom = page.high - MARGIN - _last_high(page, words)
    room = bottom - BLANKS_HIGH - GAP - y - GAP - _steps_high(words)
    upper, fit = _fitting(page, words, room)
    _sketch(page, plan, y, upper)
    _figures(page, words, y, upper)
    y = _steps(page, words, y + upper + GAP)
    y = _warnings(page, words, y, fit)
    _checks(page, words, y, fit)
    low = bottom - _cautions_high(page, words, fit.cautions)
    _cautions(page, words, low, fit.cautions)
    _blanks(page, words, low - GAP - BLANKS_HIGH)
    return page


def _inner(page: Page) -> float:
    return page.wide - 2 * MARGIN


def _header(page: Page, words: Card, y: float) -> float:
    """Write the title and what is plated with what; return where it ends."""
    room = _inner(page)
    size = max(fitted(words.title, room, 19.0, bold=True), 12.0)
    lines = cut(wrapped(words.title, size, room, bold=True), 2)
    y = page.lines(MARGIN, y, lines, size, bold=True)
    for line in words.about:
        size = max(fitted(line, room, 10.0), 8.0)
        y = page.lines(MARGIN, y, cut(wrapped(line, size, room), 1), size)
    return y + 1.5


def _stop(page: Page, words: Card, y: float) -> float:
    """Draw the banner of a plan that must not be used, and a frame about the whole page; return where it ends."""
    if not words.stops:
        return y
    room = _inner(page)
    texts = [cut(wrapped(text, 9.5, room - 8), 3) for text in words.stops[:3]]
    if len(words.stops) > 3:
        texts.append([f"and {len(words.stops) - 3} more in plan.html"])
    count = sum(len(lines) for lines in texts)
    high = 14.5 + count * LEADING * 9.5 * POINT + 2
    page.box((MARGIN, y, room, high), fill=BLACK, line=0)
    head = "STOP: DO NOT PLATE ON THIS PLAN"
    size = fitted(head, room - 8, 29.0, bold=True)
    page.text(page.wide / 2, y + 2.5, head, size, bold=True, ink=WHITE, align="center")
    at = y + 14.5
    for lines in texts:
        at = page.lines(MARGIN + 4, at, lines, 9.5, ink=WHITE)
    half = MARGIN / 2
    page.box((half, half, page.wide - MARGIN, page.high - MARGIN), line=6.0)
    return y + high + GAP


def _sketch(page: Page, plan: Plan, y: float, high: float) -> None:
    """Draw the sketch at the left, what it means below it."""
    captions = sketch_captions(plan)
    step = LEADING * CAPTION * POINT
    tall = high - 5.0 - len(captions) * step - 1.0
    across = shown_across(plan)
    wide = [(SKETCH_WIDE - GAP) * float(np.clip(extent / sum(across), 0.37, 0.63)) for extent in across]
    lefts = (MARGIN, MARGIN + SKETCH_WIDE - wide[1])
    heads = ("from the side", "as the anode sees it" if len(plan.cell.anodes) < 2 else "as anode 1 sees it")
    places = tuple(page.window((x, y + 5, w, tall)) for x, w in zip(lefts, wide, strict=True))
    draw_sketches(plan, (places[0], places[1]), tuple((w, tall) for w in wide))
    for x, w, head in zip(lefts, wide, heads, strict=True):
        page.text(x + w / 2, y, head, CAPTION, align="center", ink=GREY)
    at = y + high - len(captions) * step
    for line in captions:
        size = max(fitted(line, SKETCH_WIDE, CAPTION), 7.5)
        page.lines(MARGIN, at, cut(wrapped(line, size, SKETCH_WIDE), 1), size)
        at += step


def _figures(page: Page, words: Card, y: float, high: float) -> None:
    """Write the three figures at the right, one above the other, the first the largest."""
    left = MARGIN + SKETCH_WIDE + GAP
    wide = page.wide - MARGIN - left
    gap = 1.5
    shares = (0.42, 0.29, 0.29)
    for big, share, first in zip(words.figures, shares, (True, False, False), strict=True):
        tall = (high - 2 * gap) * share
        page.box((left, y, wide, tall), line=2.2 if first else 1.0)
        if words.stops:  # not to be set: struck out, and still to be read
            page.rule((left, y), (left + wide, y + tall), ink="#a8a8a8", line=1.4)
            page.rule((left, y + tall), (left + wide, y), ink="#a8a8a8", line=1.4)
        _figure(page, big, (left + 3, y + 1.2, wide - 6, tall - 2.4))
        y += tall + gap


def _figure(page: Page, big: Big, place: tuple[float, float, float, float]) -> None:
    """Write one figure: label and notes at the left, the value at the right or above the notes, where it is larger."""
    x, y, wide, high = place
    page.text(x, y, big.label, LABEL, bold=True)
    ways = [_beside(big, wide, high), _above(big, wide, high)]
    way = max(ways, key=lambda way: way.size)
    below = len(way.notes) * LEADING * way.note * POINT
    page.lines(x, y + high - below, way.notes, way.note)
    top = y + way.top + (way.tall - 1.16 * way.size * POINT) / 2
    page.text(x + wide, top, big.value, way.size, bold=True, align="right")


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to place a figure in its box: type of the value, where it may stand, the notes and their type."""

    size: float
    top: float
    tall: float
    notes: list[str]
    note: float


def _beside(big: Big, wide: float, high: float) -> _Way:
    """Return how the value stands to the right of label and notes."""
    room = high - LEADING * LABEL * POINT
    for note in (LABEL, 9.0, 7.5):
        notes = [line for text in big.notes for line in wrapped(text, note, 0.5 * wide)]
        if len(notes) * LEADING * note * POINT <= room:
            break
    notes = cut(notes, max(int(room / (LEADING * note * POINT)), 1))
    taken = max(width(big.label, LABEL, bold=True), *(width(line, note) for line in notes))
    return _Way(fitted(big.value, wide - taken - 3, high / POINT / 1.2, bold=True), 0.0, high, notes, note)


def _above(big: Big, wide: float, high: float) -> _Way:
    """Return how the value stands between label and notes."""
    note = max(min(fitted(text, wide, LABEL) for text in big.notes), 7.5)
    notes = [cut(wrapped(text, note, wide), 1)[0] for text in big.notes]
    top = LEADING * LABEL * POINT
    tall = high - top - len(notes) * LEADING * note * POINT
    return _Way(fitted(big.value, wide, max(tall, 0.1) / POINT / 1.2, bold=True), top, tall, notes, note)


def _steps_high(words: Card) -> float:
    """Return the room that the stages take: none where the figure of the time says it all, or nothing is to be plated."""
    if len(words.steps) == 1 or words.stops:
        return 0.0
    if len(words.steps) > ABREAST:
        return 6.0 + -(-min(len(words.steps), MOST_STEPS) // 2) * 6.0 + GAP
    return (STEPS_HIGH if words.steps else UNTIMED_HIGH) + GAP


def _steps(page: Page, words: Card, y: float) -> float:
    """Draw the stages in their order; return where they end."""
    room, high = _inner(page), _steps_high(words)
    if not high:
        return y
    if not words.steps:
        page.box((MARGIN, y, room, UNTIMED_HIGH), line=1.6)
        page.text(page.wide / 2, y + 2.4, "No time was found for this plan.", 14, bold=True, align="center")
    elif len(words.steps) > ABREAST:
        _steps_listed(page, words, y)
    else:
        _steps_abreast(page, words, y)
    return y + high


def _steps_abreast(page: Page, words: Card, y: float) -> None:
    """Draw the stages in a row with the turns between them."""
    between = 34.0
    wide = (_inner(page) - between * (len(words.steps) - 1)) / len(words.steps)
    x = MARGIN
    for number, step in enumerate(words.steps, start=1):
        if number > 1:
            _arrow_of(page, step.turn, (x - between, y, between, STEPS_HIGH))
        page.box((x, y, wide, STEPS_HIGH), fill=PALE, line=1.6)
        label = f"{number}. {step.how}"
        small = max(fitted(label, wide - 4, 10.0), 7.5)
        page.text(x + wide / 2, y + 1.2, cut(wrapped(label, small, wide - 4), 1)[0], small, align="center")
        size = fitted(step.minutes, wide - 6, 25.0, bold=True)
        page.text(x + wide / 2, y + 10.6 - 0.55 * size * POINT, step.minutes, size, bold=True, align="center")
        x += wide + between


def _steps_listed(page: Page, words: Card, y: float) -> None:
    """Write many stages below one another in two columns."""
    shown = min(len(words.steps), MOST_STEPS)
    left = len(words.steps) - shown
    more = f"; {left} more in plan.html" if left else ""
    rows, wide = -(-shown // 2), (_inner(page) - GAP) / 2
    page.box((MARGIN, y, _inner(page), _steps_high(words) - GAP), fill=PALE, line=1.6)
    page.text(MARGIN + 2, y + 1.0, f"In this order, current on while it is turned{more}:", 10.0, bold=True)
    for number, step in enumerate(words.steps[:shown]):
        x, at = MARGIN + 2 + (number // rows) * (wide + GAP), y + 6.0 + (number % rows) * 6.0
        page.text(x, at, f"{number + 1}. {step.minutes}", 12.5, bold=True)
        size = max(fitted(step.how, wide - 34, 10.0), 8.0)
        page.text(x + 30, at + 0.7, cut(wrapped(step.how, size, wide - 34), 1)[0], size)


def _arrow_of(page: Page, words: str, place: tuple[float, float, float, float]) -> None:
    """Draw what is done between two stages: an arrow, the words above and below it."""
    x, y, wide, high = place
    size = 8.5
    lines = cut(wrapped(words, size, wide - 3, bold=True), 3)
    middle = y + high - 3.0
    step = LEADING * size * POINT
    at = middle - 1.2 - len(lines) * step
    for line in lines:
        page.text(x + wide / 2, at, line, size, bold=True, align="center")
        at += step
    page.rule((x + 2, middle), (x + wide - 4, middle), line=2.0)
    page.axes.fill(
        [x + wide - 5, x + wide - 1.5, x + wide - 5], [middle - 1.8, middle, middle + 1.8], color=BLACK, lw=0
    )


def _fitting(page: Page, words: Card, room: float) -> tuple[float, _Fit]:
    """Return the height of sketch and figures, and what fits below them: the largest type, what is said whole."""
    least = (min(len(words.warnings), 2), min(len(words.cautions), 3))
    uppers = UPPER if not words.stops else STOPPED_UPPER
    for upper in uppers:
        for size in SIZES:
            if size < GOOD and upper != uppers[-1]:
                break
            fit = _filled(page, words, room - upper, size)
            if fit is not None and fit.warnings >= least[0] and fit.cautions >= least[1]:
                return upper, fit
    fits = [fit for size in SIZES if (fit := _filled(page, words, room - uppers[-1], size)) is not None]
    if not fits:
        return uppers[-1], _Fit(SIZES[-1], SHARES[0], 0, 0)
    return uppers[-1], max(fits, key=lambda fit: (min(fit.cautions, 2) + min(fit.warnings, 1), fit.size))


def _filled(page: Page, words: Card, room: float, size: float) -> _Fit | None:
    """Return how many warnings and cautions fit with checks of a size; None where the checks do not."""
    shares = min(SHARES, key=lambda shares: _checks_high(page, words, size, shares))
    room -= _checks_high(page, words, size, shares) + GAP
    cautions = [_cautions_high(page, words, count) for count in range(len(words.cautions) + 1)]
    best, least = None, min(len(words.cautions), 3)
    for warnings in range(len(words.warnings) + 1):
        left = room - _warnings_high(page, words, warnings, size)
        fits = [count for count, high in enumerate(cautions) if high <= left]
        if fits and (best is None or fits[-1] >= least):
            apart = (left - cautions[fits[-1]]) / max(len(column.items) for column in words.checks)
            best = _Fit(size, shares, warnings, fits[-1], min(apart, 2.0))
    return best


def _columns(page: Page, shares: tuple[float, float, float]) -> list[float]:
    """Return the widths of the columns."""
    room = _inner(page) - 2 * GAP
    return [room * share / sum(shares) for share in shares]


def _check_lines(page: Page, words: Card, size: float, shares: tuple[float, float, float]) -> list[list[list[str]]]:
    pairs = zip(words.checks, _columns(page, shares), strict=True)
    return [[wrapped(item, size, wide - TICK - 2.0) for item in column.items] for column, wide in pairs]


def _checks_high(page: Page, words: Card, size: float, shares: tuple[float, float, float]) -> float:
    columns = _check_lines(page, words, size, shares)
    return 7.5 + max(sum(len(item) * LEADING * size * POINT + 1.1 for item in items) for items in columns)


def _checks(page: Page, words: Card, y: float, fit: _Fit) -> None:
    """Write what to see to before, during and after, each with a square to tick."""
    x = MARGIN
    columns = _check_lines(page, words, fit.size, fit.shares)
    for column, items, wide in zip(words.checks, columns, _columns(page, fit.shares), strict=True):
        page.box((x, y, wide, 6.0), fill=BLACK, line=0)
        page.text(x + 2, y + 0.9, column.title, 11.5, bold=True, ink=WHITE)
        at = y + 7.5
        for lines in items:
            page.box((x + 0.3, at + 0.4, TICK, TICK), line=0.9)
            at = page.lines(x + TICK + 2.0, at, lines, fit.size) + 1.1 + fit.apart
        x += wide + GAP


def _told_warnings(page: Page, words: Card, count: int, size: float) -> list[list[str]]:
    """Return the lines of the first warnings, and of how many more there are."""
    room = _inner(page) - 12
    texts = [f"{text}" for text in words.warnings[:count]]
    more = len(words.warnings) - count
    if more:
        texts.append(
            f"{more} {'more ' if count else ''}warning{'s' if more > 1 else ''} in plan.html: read before you start."
        )
    return [wrapped(text, min(size, 9.5), room) for text in texts]


def _warnings_high(page: Page, words: Card, count: int, size: float) -> float:
    lines = _told_warnings(page, words, count, size)
    return sum(len(text) for text in lines) * LEADING * min(size, 9.5) * POINT + 3.0 + GAP if lines else 0.0


def _warnings(page: Page, words: Card, y: float, fit: _Fit) -> float:
    """Write the warnings of this plan in a box of their own; return where it ends."""
    texts = _told_warnings(page, words, fit.warnings, fit.size)
    if not texts:
        return y
    high = _warnings_high(page, words, fit.warnings, fit.size) - GAP
    page.box((MARGIN, y, _inner(page), high), fill=PALE, line=1.2)
    at = y + 1.5
    for lines in texts:
        page.text(MARGIN + 3.2, at, "!", min(fit.size, 9.5), bold=True)
        at = page.lines(MARGIN + 8, at, lines, min(fit.size, 9.5))
    return y + high + GAP


def _blanks(page: Page, words: Card, y: float) -> None:
    """Draw what is filled in by hand: two rows of boxes, with what keeps it beside the last."""
    first = [blank for blank in words.blanks if not blank[1] and blank[0] != "look"]
    second = [blank for blank in words.blanks if blank[1]]
    room, tall = _inner(page), 9.0
    for row, blanks in enumerate((first, second)):
        weights = [1.6 if label == "name" else 1.0 for label, _ in blanks]
        x = MARGIN
        for (label, unit), weight in zip(blanks, weights, strict=True):
            wide = room * weight / sum(weights)
            page.box((x, y + row * tall, wide, tall))
            page.text(x + 1, y + row * tall + 0.5, label, 7.5, ink=GREY)
            if unit:
                page.text(x + wide - 1, y + row * tall + 4.4, unit, 9.5, align="right")
            x += wide
    page.box((MARGIN, y + 2 * tall, room, BLANKS_HIGH - 2 * tall))
    page.text(MARGIN + 1, y + 2 * tall + 0.5, "look", 7.5, ink=GREY)
    size = 7.5
    page.text(MARGIN + room - 1, y + BLANKS_HIGH - size * POINT - 0.9, words.log, size, align="right", ink=GREY)


def _cautions_lines(page: Page, words: Card, count: int) -> list[list[str]]:
    room = _inner(page) - 3.5
    left = len(words.cautions) - count
    texts = [*words.cautions[:count]]
    if left:
        texts.append(
            f"{left} {'more ' if count else ''}caution{'s' if left > 1 else ''} for this bath: see plan.html for all."
        )
    return [wrapped(text, CAUTIONS, room) for text in texts]


def _cautions_high(page: Page, words: Card, count: int) -> float:
    return 5.0 + sum(len(text) for text in _cautions_lines(page, words, count)) * LEADING * CAUTIONS * POINT


def _cautions(page: Page, words: Card, y: float, count: int) -> None:
    """Write the first cautions whole, who says so with each, and who decides in the end."""
    page.text(MARGIN, y, "CAUTIONS", 9.5, bold=True)
    at = y + 5.0
    for lines in _cautions_lines(page, words, count):
        page.dot(MARGIN + 1.2, at + 0.55 * CAUTIONS * POINT, 1.1)
        at = page.lines(MARGIN + 3.5, at, lines, CAUTIONS)
    page.lines(MARGIN, at + 0.8, _last_lines(page, words), CAUTIONS, bold=True)


def _last_lines(page: Page, words: Card) -> list[str]:
    return wrapped(words.last, CAUTIONS, _inner(page), bold=True)


def _last_high(page: Page, words: Card) -> float:
    return 0.8 + len(_last_lines(page, words)) * LEADING * CAUTIONS * POINT
