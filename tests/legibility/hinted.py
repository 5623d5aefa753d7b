"""The reference for outline faces: the same numbers through FreeType's monochrome hinting, read by the same engine.

Writes hinted.csv beside it: file of the face, figure height, and how many of the numbers of machine.rs are read as they are.
Size, softening and engine are those of machine.rs. Needs the PyPI packages freetype-py and numpy, and the Debian packages
tesseract-ocr and fonts-dejavu-core; `cargo test` reads the table only.
"""

import math
import subprocess
import sys
import tempfile
from pathlib import Path

import freetype
import numpy as np

FACES = ["DejaVuSans.ttf", "DejaVuSans-Bold.ttf"]
FOLDER = Path("/usr/share/fonts/truetype/dejavu")
HEIGHTS = [10, 12, 14, 16, 18, 20, 22, 24, 28, 32]
DIGITS, MARGIN, SOFTNESS = 32.0, 22.0, 0.4
NUMBERS = [f"{tenths / 10:.1f}" for tenths in range(-999, 2000, 13)]


def set_size(face, height):
    """Sets the smallest size in whole pixels at which FreeType makes the zero as high as asked, or a row more; gives its height."""
    for size in range(height, 3 * height):
        face.set_pixel_sizes(0, size)
        face.load_char("0", freetype.FT_LOAD_RENDER | freetype.FT_LOAD_TARGET_MONO)
        if face.glyph.bitmap.rows >= height:
            return face.glyph.bitmap.rows
    raise ValueError(f"no size gives digits of {height} rows")


def picture(face, height, text):
    """The text's pixels: rows from the top of the digits down, a third of their height below the baseline."""
    glyphs, pen = [], 0
    for character in text.replace("-", "\u2212"):
        face.load_char(character, freetype.FT_LOAD_RENDER | freetype.FT_LOAD_TARGET_MONO)
        bitmap = face.glyph.bitmap
        packed = np.array(bitmap.buffer, dtype=np.uint8).reshape(bitmap.rows, bitmap.pitch)
        lit = np.unpackbits(packed, axis=1)[:, : bitmap.width]
        glyphs.append((lit, pen + face.glyph.bitmap_left, height - face.glyph.bitmap_top))
        pen += face.glyph.advance.x >> 6
    pixels = np.zeros((height + height // 3, pen), dtype=float)
    for lit, left, top in glyphs:
        rows, columns = lit.shape
        pixels[top : top + rows, left : left + columns] += lit
    return np.minimum(pixels, 1.0)


def weights(pixels, step, samples):
    """For each sample, what each pixel adds to it: the Gaussian's integral over the pixel."""
    up_to = np.vectorize(lambda distance: 0.5 * (1.0 + math.erf(distance / (SOFTNESS * math.sqrt(2.0)))))
    at = -MARGIN * step + (np.arange(samples) + 0.5) * step
    edges = np.arange(pixels + 1)[None, :] - at[:, None]
    return np.diff(up_to(edges), axis=1)


def pgm(face, height, text):
    pixels = picture(face, height, text)
    step = height / DIGITS
    width = math.ceil(pixels.shape[1] / step + 2 * MARGIN)
    rows = math.ceil(height / step + 2 * MARGIN)
    bright = weights(pixels.shape[0], step, rows) @ pixels @ weights(pixels.shape[1], step, width).T
    grey = (255 - np.round(np.clip(bright, 0, 1) * 255)).astype(np.uint8)
    return b"P5 %d %d 255\n" % (width, rows) + grey.tobytes()


def main():
    lines = ["face,figure height,read,of"]
    for name in FACES:
        face = freetype.Face(str(FOLDER / name))
        for height in HEIGHTS:
            rows = set_size(face, height)
            with tempfile.TemporaryDirectory() as folder:
                paths = []
                for index, number in enumerate(NUMBERS):
                    path = Path(folder) / f"{index}.pgm"
                    path.write_bytes(pgm(face, rows, number))
                    paths.append(str(path))
                listed = Path(folder) / "list.txt"
                listed.write_text("\n".join(paths) + "\n")
                said = subprocess.run(
                    ["tesseract", str(listed), "-", "--psm", "7", "-c", "tessedit_char_whitelist=0123456789.-"],
                    capture_output=True, text=True, check=True, env={"OMP_THREAD_LIMIT": "1", "PATH": "/usr/bin:/bin"},
                ).stdout.split("\f")
                right = sum(page.strip() == number for page, number in zip(said, NUMBERS))
            lines.append(f"{name},{height},{right},{len(NUMBERS)}")
            print(lines[-1], file=sys.stderr)
    version = ".".join(map(str, freetype.version()))
    engine = subprocess.run(["tesseract", "--version"], capture_output=True, text=True, check=True).stdout.split()[1]
    origin = f"# FreeType {version}, monochrome target; tesseract {engine}; made by hinted.py"
    Path(__file__).with_name("hinted.csv").write_text("\n".join([origin, *lines]) + "\n")


main()
