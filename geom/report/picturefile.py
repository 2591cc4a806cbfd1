"""One picture beside the text: written whole or not at all, and never over a file of another's."""

import io
import os
import secrets
from pathlib import Path

from matplotlib.figure import Figure

from geom.errors import OutputError
from geom.report.figures import DOTS_PER_INCH

MAKER = "geom"
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def write_picture(figure: Figure, path: Path) -> None:
    """Write a figure as PNG. An older picture that this program wrote is replaced, any other file is left alone.

    Raises
    ------
    OutputError
        where the name is taken by another file, or it cannot be written.
    """
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=DOTS_PER_INCH, metadata={"Software": MAKER}, pil_kwargs={"compress_level": 4})
    check_picture(path)
    fresh = path.parent / f".geom-{secrets.token_hex(6)}.png"
    try:
        with fresh.open("xb") as file:
            file.write(out.getvalue())
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError as error:
        raise OutputError(
            "picture-not-written", f"the picture cannot be written: {error.strerror}", where=str(path)
        ) from error
    finally:
        fresh.unlink(missing_ok=True)


def check_picture(path: Path) -> None:
    """Refuse a name that is no PNG's, that is in no folder, or that a file other than a picture of this program has."""
    if path.suffix.lower() != ".png":
        text = "pictures are PNG files; this name does not end in .png"
        raise OutputError("picture-suffix", text, where=str(path), hint=f"say --picture {path.stem or 'part'}.png")
    if not path.parent.is_dir():
        text = f"the picture cannot be written: there is no folder {path.parent}"
        raise OutputError("picture-not-written", text, where=str(path), hint="make the folder first, or name another")
    try:
        if not os.path.lexists(path) or _is_ours(path):
            return
    except OSError:
        pass
    raise OutputError(
        "picture-name-taken",
        "there is another file of the name the picture would get",
        where=str(path),
        hint="give it another name with --picture, or none with --no-picture",
    )


def _is_ours(path: Path) -> bool:
    """Return whether a file is a PNG that says this program made it."""
    if path.is_symlink() or not path.is_file():
        return False
    with path.open("rb") as file:
        head = file.read(4096)
    return head.startswith(SIGNATURE) and b"Software\0" + MAKER.encode() in head
