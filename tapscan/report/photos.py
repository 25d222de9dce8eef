"""Photos for a page: made small enough to send, turned upright, and without what a phone writes into them (place, device).

picture(path, name)   Picture; `reason` where it cannot be shown
"""

import base64
import io
from pathlib import Path

from msgspec import Struct

LONGEST_PX = 1000  # on paper 85 mm wide: 300 to the inch
QUALITY = 78
MOST_PIXELS = 120_000_000  # a phone's largest photo has some 50 million


class Picture(Struct, frozen=True):
    """`data` is a data URI; empty with a reason."""

    name: str
    data: str = ""
    reason: str | None = None


def picture(path: Path, name: str) -> Picture:
    """Never raises: a page is written also where a photo is gone."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path) as read:
            if read.width * read.height > MOST_PIXELS:
                return Picture(name, reason="it is too large to be shown; it is kept as it is")
            read.draft("RGB", (LONGEST_PX, LONGEST_PX))
            shown = ImageOps.exif_transpose(read).convert("RGB")
        shown.thumbnail((LONGEST_PX, LONGEST_PX))
        bare = Image.new("RGB", shown.size)
        bare.paste(shown)  # nothing but what is seen
        out = io.BytesIO()
        bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    except UnidentifiedImageError:
        return Picture(name, reason="this kind of photo cannot be shown here (HEIC, for one); it is kept as it is")
    except FileNotFoundError:
        return Picture(name, reason="the file is missing")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as problem:
        return Picture(name, reason=f"it cannot be read ({problem})")
    return Picture(name, f"data:image/jpeg;base64,{base64.b64encode(out.getvalue()).decode()}")
