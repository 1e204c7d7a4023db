"""Our labels read back by a general reader of codes, zxing-cpp, as a label printer would have made them.

The example `sample_papers` makes a sheet and single labels; pdftoppm (poppler) rasters them at 203 dots
an inch, as a label printer does; they are read as they are, blurred, and as a worn print with spots.
Each label must give its id twice, once as QR and once as Code 128, and nothing else may be read.

The ids stand in the examples' own list, `crates/paper/src/sample.rs`; `A-0007` is the worked vector.
Needs: zxing-cpp, pillow, numpy, and pdftoppm.
"""

import collections
import os
import pathlib
import re
import subprocess
import sys

import numpy as np
import zxingcpp
from PIL import Image, ImageFilter

ROOT = pathlib.Path(__file__).resolve().parents[2]
EXAMPLE = pathlib.Path(os.environ["EXAMPLES"]) / "sample_papers"
WORK = pathlib.Path(os.environ["WORK"])
DPI = 203
# Five parts in a hundred of a letter of Code 128, 11 modules of at least 2 dots: a bar is smeared over
# more than its own half. At a tenth more than this the longest ids begin to fail.
BLUR_DOTS = 0.05 * 11 * 2
# The example leaves the first positions of its sheet out.
SKIPPED = 2
RESULTS = {True: 0, False: 0}


def case(name, good, detail=""):
    RESULTS[bool(good)] += 1
    print(f"{'ok  ' if good else 'FAIL'} {name}{': ' + str(detail) if detail and not good else ''}")


def expected_ids():
    source = (ROOT / "crates/paper/src/sample.rs").read_text(encoding="utf-8")
    listed = re.search(r"pub fn labels\(\).*?\[(.*?)\]", source, re.S).group(1)
    return re.findall(r'"([A-Z0-9-]+)"', listed)


def pages(pdf):
    stem = WORK / pdf.stem
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-png", pdf, stem], check=True)
    return [Image.open(page).convert("L") for page in sorted(WORK.glob(f"{pdf.stem}-*.png"))]


def blurred(page):
    return page.filter(ImageFilter.GaussianBlur(BLUR_DOTS))


def worn(page):
    """Black and white as a thermal head prints, with one dot in two hundred wrong."""
    dots = np.where(np.asarray(page) < 128, 0, 255)
    wrong = np.random.default_rng(7).random(dots.shape) < 0.005
    return Image.fromarray(np.where(wrong, 255 - dots, dots).astype(np.uint8))


def read(image):
    """How often each text was read in each kind of code."""
    found = collections.Counter()
    for code in zxingcpp.read_barcodes(image):
        kind = re.sub(r"[^a-z0-9]", "", str(code.format).split(".")[-1].lower())
        found[kind, code.text] += 1
    return found


def positions(sheet):
    """The 24 labels of a sheet, as somebody sees them who holds one to a scanner."""
    wide, high = 70 / 25.4 * DPI, 297 / 8 / 25.4 * DPI
    for row in range(8):
        for column in range(3):
            left, top = column * wide, row * high
            yield sheet.crop((round(left), round(top), round(left + wide), round(top + high)))


def main():
    subprocess.run([EXAMPLE, WORK], check=True)
    ids = expected_ids()
    case("the worked vector is among the ids", "A-0007" in ids, ids)
    sheet, singles = pages(WORK / "labels-sheet.pdf"), pages(WORK / "labels-single.pdf")
    case("one sheet, and a page for each single label", (len(sheet), len(singles)) == (1, len(ids)))
    for how, change in (("clean", lambda page: page), ("blurred", blurred), ("worn", worn)):
        on_sheet = list(positions(change(sheet[0])))
        wanted = [None] * SKIPPED + ids + [None] * (len(on_sheet) - SKIPPED - len(ids))
        labels = [("sheet", *each) for each in zip(wanted, on_sheet)]
        labels += [("single", *each) for each in zip(ids, map(change, singles))]
        for kind, text, image in labels:
            found = read(image)
            expected = {("qrcode", text): 1, ("code128", text): 1} if text else {}
            case(f"{kind}, {how}, {text or 'unused'}", found == expected, found)
    # The loan's reference is all that the leaflet's codes hold.
    for name in ("leaflet", "leaflet-large", "leaflet-letter", "handout"):
        found = {text for page in pages(WORK / f"{name}.pdf") for _, text in read(page)}
        case(f"{name}: its codes hold the loan's reference alone", found == {"L-00142-Y"}, found)
    # The check itself: nothing is read from a blank sheet.
    case("a blank sheet gives nothing", not read(Image.new("L", (800, 800), 255)))
    print(f"{sum(RESULTS.values())} checked")
    return 1 if RESULTS[False] else 0


if __name__ == "__main__":
    sys.exit(main())
