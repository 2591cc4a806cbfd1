"""Stop-off, contacts, plugs and threads in words."""

from geom.part.masks import Contact, Mask, Plug, StopOff, StopOffBox, StopOffNear, Thread
from geom.report.amounts import amount, length, point, turn


def mask_words(mask: Mask) -> str:
    """Return what a mask covers."""
    if isinstance(mask, StopOff):
        return ", ".join(mask.features)
    if isinstance(mask, StopOffBox):
        return f"box from {point(mask.low)} to {point(mask.high)}, frame of the part"
    if isinstance(mask, StopOffNear):
        return f"within {length(mask.within)} of {point(mask.at)}, frame of the part"
    if isinstance(mask, Contact):
        return f"spot of {length(mask.diameter)} diameter at {point(mask.at)}, frame of the part"
    if isinstance(mask, Plug):
        return f"{mask.feature}, closed flat"
    away = ", ".join(amount(v, "") for v in mask.direction)
    return f"faces that look along ({away}) within {turn((mask.within,))}, frame of the part"


def thread_words(thread: Thread) -> str:
    """Return a thread."""
    if thread.factor:
        return f"{thread.feature}: true area {amount(thread.factor, '')} times the drawn one"
    return f"{thread.feature}: {length(thread.diameter)} nominal, pitch {length(thread.pitch)}, 60° profile of ISO 68-1"
