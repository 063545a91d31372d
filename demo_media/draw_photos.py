"""Draw the demo's photographs: every picture is procedural, seeded and ours.

Run ``python demo_media/draw_photos.py`` from the checkout: it rewrites ``demo_media/photos/``. What
each picture shows, when it was taken and which finding it belongs to is in ``manifest.json``, which
``speak_audio.py`` writes from ``scenario.toml``; the camera's clock error is planted here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageDraw, ImageFilter, ImageFont

HERE = Path(__file__).resolve().parent
SIZE = (1280, 960)

Array = NDArray[np.float64]
Canvas = Image.Image


def cloud(rng: np.random.Generator, size: tuple[int, int], octaves: int = 6) -> Array:
    """Fractal noise, 0..1, shape (height, width): the grain of every surface here."""
    width, height = size
    total = np.zeros((height, width))
    for octave in range(octaves):
        cells = 2 ** (octave + 2)
        coarse = (rng.random((cells, cells)) * 255).astype(np.uint8)
        layer = Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)
        total += np.asarray(layer, dtype=np.float64) / 255 / 1.7**octave
    total -= total.min()
    return total / total.max()


def surface(
    rng: np.random.Generator,
    colour: tuple[int, int, int],
    roughness: float,
    size: tuple[int, int] = SIZE,
) -> Canvas:
    """A lit, grainy surface of one colour, with a soft fall-off of light towards the corners."""
    width, height = size
    grain = cloud(rng, size) - 0.5 + rng.normal(0, 0.12, (height, width))
    y, x = np.mgrid[0:height, 0:width]
    light = 1.15 - 0.55 * np.hypot((x - width * 0.4) / width, (y - height * 0.35) / height)
    shade = light * (1 + roughness * grain)
    pixels = np.clip(np.asarray(colour)[None, None, :] * shade[:, :, None], 0, 255)
    return Image.fromarray(pixels.astype(np.uint8))


def paste_shape(base: Canvas, texture: Canvas, draw: Callable[[ImageDraw.ImageDraw], None]) -> None:
    """Lay ``texture`` on ``base`` inside the shape that ``draw`` paints, with a soft shadow."""
    mask = Image.new("L", base.size, 0)
    draw(ImageDraw.Draw(mask))
    mask = mask.filter(ImageFilter.GaussianBlur(1.2))
    shadow = ImageChops.offset(mask, 10, 14).filter(ImageFilter.GaussianBlur(12))
    base.paste(Image.new("RGB", base.size, (8, 8, 10)), mask=shadow.point(lambda v: v * 0.6))
    base.paste(texture, mask=mask)


def crack(
    rng: np.random.Generator,
    pen: ImageDraw.ImageDraw,
    start: tuple[float, float],
    heading: float,
    length: float,
    width: float,
) -> None:
    """One branching crack: a random walk that thins out, dark with a lit lower lip."""
    x, y = start
    steps = int(length / 6)
    for step in range(steps):
        heading += rng.normal(0, 0.28)
        nx, ny = x + 6 * math.cos(heading), y + 6 * math.sin(heading)
        thick = max(1, round(width * (1 - step / steps)))
        pen.line((x, y + 2, nx, ny + 2), fill=(95, 93, 90), width=thick)
        pen.line((x, y, nx, ny), fill=(6, 6, 7), width=thick)
        if step > 3 and rng.random() < 0.05:
            crack(rng, pen, (nx, ny), heading + rng.choice([-0.7, 0.7]), length * 0.35, width * 0.6)
        x, y = nx, ny


def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Pillow's own typeface, so that no system font is needed."""
    return ImageFont.load_default(size)


def cracked_sidewall(rng: np.random.Generator) -> Canvas:
    """A tyre's sidewall, close: moulded ribs in arcs, raised letters, weather cracks."""
    picture = surface(rng, (58, 57, 56), 0.5)
    pen = ImageDraw.Draw(picture)
    centre = (640, 2300)
    for radius, shade in ((1960, 84), (1950, 28), (1500, 80), (1490, 26), (1440, 76), (1432, 28)):
        box = (centre[0] - radius, centre[1] - radius, centre[0] + radius, centre[1] + radius)
        pen.arc(box, 180, 360, fill=(shade, shade, shade - 2), width=8)
    label = Image.new("L", SIZE, 0)
    for index, letter in enumerate("130/80-17  65H"):
        angle = math.radians(-106 + index * 2.5)
        glyph = Image.new("L", (110, 120), 0)
        ImageDraw.Draw(glyph).text((18, 4), letter, font=font(88), fill=255)
        turned = glyph.rotate(-math.degrees(angle) - 90, expand=True)
        place = (
            int(centre[0] + 1830 * math.cos(angle) - turned.width / 2),
            int(centre[1] + 1830 * math.sin(angle) - turned.height / 2),
        )
        label.paste(turned, place, turned)
    light = ImageChops.offset(label, -3, -3)
    picture.paste((112, 111, 108), mask=light)
    picture.paste((46, 45, 44), mask=label)
    for _ in range(34):
        angle = math.radians(rng.uniform(-116, -64))
        radius = rng.uniform(1520, 1720)
        start = (centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle))
        crack(rng, pen, start, angle + math.pi / 2 + rng.normal(0, 0.15), rng.uniform(60, 260), 5)
    return picture


def tread_gauge(rng: np.random.Generator) -> Canvas:
    """Tread grooves from above with a depth gauge's foot across one of them."""
    picture = surface(rng, (66, 65, 63), 0.45)
    pen = ImageDraw.Draw(picture)
    for lane in range(-2, 9):
        for side in (-1, 1):
            x0 = 640 + side * 60
            y0 = lane * 150
            path = [(x0, y0), (x0 + side * 250, y0 + 70), (x0 + side * 520, y0 + 240)]
            pen.line([(x, y + 5) for x, y in path], fill=(98, 96, 92), width=44, joint="curve")
            pen.line(path, fill=(22, 22, 22), width=40, joint="curve")
    pen.line((640, 0, 640, 960), fill=(20, 20, 20), width=34)
    steel = surface(rng, (176, 180, 184), 0.12)
    paste_shape(picture, steel, lambda p: p.rounded_rectangle((330, 470, 950, 540), 16, fill=255))
    paste_shape(picture, steel, lambda p: p.rectangle((600, 120, 680, 480), fill=255))
    pen = ImageDraw.Draw(picture)
    for mark in range(17):
        y = 150 + mark * 19
        pen.line((606, y, 640 if mark % 4 == 0 else 624, y), fill=(30, 30, 34), width=3)
        if mark % 4 == 0:
            pen.text((648, y - 12), str(mark), font=font(24), fill=(30, 30, 34))
    pen.rectangle((598, 223, 682, 229), fill=(170, 40, 30))
    pen.text((612, 128), "1/32 in", font=font(18), fill=(40, 40, 44))
    return picture


def worn_pads(rng: np.random.Generator) -> Canvas:
    """A caliper seen end-on: disc in the middle, a thin pad left, its steel backing outside."""
    picture = surface(rng, (44, 46, 50), 0.6)
    castings = surface(rng, (104, 106, 110), 0.35)
    paste_shape(
        picture, castings, lambda p: p.rounded_rectangle((90, 120, 1190, 870), 90, fill=255)
    )
    paste_shape(
        picture,
        surface(rng, (24, 25, 28), 0.3),
        lambda p: p.rounded_rectangle((290, 210, 990, 960), 40, fill=255),
    )
    disc = surface(rng, (190, 190, 188), 0.08)
    lines = ImageDraw.Draw(disc)
    for _ in range(60):
        x = rng.uniform(600, 680)
        lines.line((x, 0, x, 960), fill=(int(rng.uniform(120, 220)),) * 3, width=1)
    paste_shape(picture, disc, lambda p: p.rectangle((600, 0, 680, 960), fill=255))
    plate = surface(rng, (122, 104, 84), 0.5)
    lining = surface(rng, (74, 66, 58), 0.9)
    for left, thick in ((True, 26), (False, 62)):
        edge = 596 if left else 684
        sign = -1 if left else 1
        a, b = sorted((edge, edge + sign * thick))
        paste_shape(picture, lining, lambda p, a=a, b=b: p.rectangle((a, 300, b, 800), fill=255))
        c, d = sorted((edge + sign * thick, edge + sign * (thick + 74)))
        paste_shape(picture, plate, lambda p, c=c, d=d: p.rectangle((c, 270, d, 830), fill=255))
    for y in (250, 850):
        paste_shape(
            picture, castings, lambda p, y=y: p.ellipse((350, y - 26, 402, y + 26), fill=255)
        )
    return picture


def multimeter(rng: np.random.Generator) -> Canvas:
    """A battery's two terminals with test leads, and a meter whose display reads 12.4 volts."""
    picture = surface(rng, (96, 84, 70), 0.35)
    paste_shape(
        picture,
        surface(rng, (34, 36, 40), 0.25),
        lambda p: p.rounded_rectangle((60, 430, 640, 930), 26, fill=255),
    )
    for x, tint in ((150, (120, 118, 112)), (540, (132, 128, 118))):
        paste_shape(
            picture,
            surface(rng, tint, 0.3),
            lambda p, x=x: p.ellipse((x - 46, 470, x + 46, 562), fill=255),
        )
    pen = ImageDraw.Draw(picture)
    pen.text((132, 590), "-", font=font(72), fill=(200, 200, 200))
    pen.text((520, 590), "+", font=font(72), fill=(200, 200, 200))
    paste_shape(
        picture,
        surface(rng, (58, 66, 74), 0.15),
        lambda p: p.rounded_rectangle((760, 90, 1190, 880), 44, fill=255),
    )
    paste_shape(
        picture,
        surface(rng, (176, 186, 164), 0.05),
        lambda p: p.rectangle((810, 150, 1140, 330), fill=255),
    )
    pen = ImageDraw.Draw(picture)
    seven_segments(pen, "12.4", (838, 176), 58, (30, 36, 30))
    pen.text((1092, 270), "V", font=font(44), fill=(30, 36, 30))
    pen.ellipse((880, 430, 1070, 620), fill=(28, 30, 34), outline=(120, 126, 130), width=6)
    pen.line((975, 525, 1030, 462), fill=(220, 220, 216), width=10)
    for start, end, tint in (
        ((150, 515), (900, 850), (18, 18, 20)),
        ((540, 515), (1050, 850), (120, 34, 30)),
    ):
        middle = ((start[0] + end[0]) // 2, 960)
        path = [bezier(start, middle, end, t / 40) for t in range(41)]
        pen.line(path, fill=tint, width=14, joint="curve")
    return picture


def bezier(
    a: tuple[int, int], b: tuple[int, int], c: tuple[int, int], t: float
) -> tuple[float, float]:
    """Point at ``t`` of the quadratic curve a-b-c."""
    s = 1 - t
    return (
        s * s * a[0] + 2 * s * t * b[0] + t * t * c[0],
        s * s * a[1] + 2 * s * t * b[1] + t * t * c[1],
    )


def seven_segments(
    pen: ImageDraw.ImageDraw,
    text: str,
    at: tuple[int, int],
    width: int,
    colour: tuple[int, int, int],
) -> None:
    """Digits as a meter's display shows them."""
    shapes = {
        "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc",
        "5": "afgcd", "6": "afgedc", "7": "abc", "8": "abcdefg", "9": "abcdfg",
    }  # fmt: skip
    x, y = at
    high = width
    for char in text:
        if char == ".":
            pen.ellipse((x - 12, y + 2 * high - 6, x, y + 2 * high + 6), fill=colour)
            continue
        ends = {
            "a": (x, y, x + width, y), "b": (x + width, y, x + width, y + high),
            "c": (x + width, y + high, x + width, y + 2 * high),
            "d": (x, y + 2 * high, x + width, y + 2 * high),
            "e": (x, y + high, x, y + 2 * high), "f": (x, y, x, y + high),
            "g": (x, y + high, x + width, y + high),
        }  # fmt: skip
        for segment in shapes[char]:
            pen.line(ends[segment], fill=colour, width=12)
        x += width + 34


def hooked_sprocket(rng: np.random.Generator) -> Canvas:
    """A rear sprocket whose teeth lean over, with the chain lifted off by a finger's pull."""
    picture = surface(rng, (70, 66, 60), 0.5)
    centre, inner, outer, teeth = (520, 560), 330, 420, 26
    outline = []
    for tooth in range(teeth):
        base = 2 * math.pi * tooth / teeth
        for share, radius, lean in (
            (0.0, inner, 0.0),
            (0.3, inner + 20, 0.0),
            (0.55, outer, 0.42),
            (0.72, inner + 30, 0.1),
        ):
            angle = base + 2 * math.pi / teeth * (share + lean)
            outline.append(
                (centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle))
            )
    paste_shape(picture, surface(rng, (150, 146, 138), 0.3), lambda p: p.polygon(outline, fill=255))
    dark = surface(rng, (36, 34, 32), 0.4)
    paste_shape(picture, dark, lambda p: p.ellipse((400, 440, 640, 680), fill=255))
    for hole in range(5):
        angle = 2 * math.pi * hole / 5
        x, y = centre[0] + 225 * math.cos(angle), centre[1] + 225 * math.sin(angle)
        paste_shape(
            picture, dark, lambda p, x=x, y=y: p.ellipse((x - 46, y - 46, x + 46, y + 46), fill=255)
        )
    link = surface(rng, (112, 108, 100), 0.3)
    for index in range(24):
        angle = math.radians(-150 + index * 13)
        lift = 34 * max(0.0, math.cos(angle)) ** 2
        radius = outer - 8 + lift
        x, y = centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)
        paste_shape(
            picture, link, lambda p, x=x, y=y: p.ellipse((x - 34, y - 34, x + 34, y + 34), fill=255)
        )
        ImageDraw.Draw(picture).ellipse((x - 13, y - 13, x + 13, y + 13), fill=(52, 50, 46))
    return picture


def leaking_fork(rng: np.random.Generator) -> Canvas:
    """A fork leg at its seal: bright stanchion, dark dust lip, oil running down the slider."""
    picture = surface(rng, (62, 70, 66), 0.4)
    tube = surface(rng, (188, 192, 196), 0.08)
    shine = ImageDraw.Draw(tube)
    for x in range(470, 810):
        bright = int(130 + 110 * math.exp(-(((x - 590) / 60) ** 2)) - 60 * ((x - 640) / 170) ** 2)
        shine.line((x, 0, x, 960), fill=(bright, bright, min(255, bright + 6)))
    paste_shape(picture, tube, lambda p: p.rectangle((470, 0, 810, 460), fill=255))
    slider = surface(rng, (122, 124, 126), 0.2)
    paste_shape(picture, slider, lambda p: p.rounded_rectangle((410, 430, 870, 960), 30, fill=255))
    paste_shape(
        picture,
        surface(rng, (22, 22, 24), 0.4),
        lambda p: p.rounded_rectangle((420, 400, 860, 470), 30, fill=255),
    )
    oil = Image.new("L", SIZE, 0)
    pen = ImageDraw.Draw(oil)
    for _ in range(16):
        x, y = rng.uniform(430, 850), 462.0
        for _ in range(int(rng.uniform(20, 80))):
            nx, ny = x + rng.normal(0, 1.6), y + 6
            pen.line((x, y, nx, ny), fill=190, width=int(rng.uniform(7, 17)))
            x, y = nx, ny
    oil = oil.filter(ImageFilter.GaussianBlur(3))
    picture.paste(surface(rng, (74, 54, 22), 0.6), mask=oil)
    picture.paste(
        (226, 210, 160), mask=ImageChops.offset(oil, -5, -2).point(lambda v: 60 if v > 150 else 0)
    )
    return picture


def spoked_rim(rng: np.random.Generator) -> Canvas:
    """A laced wheel from the side, one spoke of its lower half missing."""
    picture = surface(rng, (120, 112, 100), 0.35)
    pen = ImageDraw.Draw(picture)
    centre = (640, 470)
    pen.ellipse((130, -40, 1150, 980), outline=(30, 30, 30), width=86)
    pen.ellipse((206, 36, 1074, 904), outline=(176, 178, 182), width=38)
    pen.ellipse((218, 48, 1062, 892), outline=(98, 100, 104), width=4)
    spokes = 36
    for spoke in range(spokes):
        if spoke == 22:
            continue
        angle = 2 * math.pi * spoke / spokes
        start = angle + (0.9 if spoke % 2 else -0.9)
        a = (centre[0] + 74 * math.cos(start), centre[1] + 74 * math.sin(start))
        b = (centre[0] + 420 * math.cos(angle), centre[1] + 420 * math.sin(angle))
        pen.line((a[0] + 3, a[1] + 3, b[0] + 3, b[1] + 3), fill=(70, 66, 60), width=6)
        pen.line((*a, *b), fill=(206, 208, 212), width=6)
    angle = 2 * math.pi * 22 / spokes
    x, y = centre[0] + 410 * math.cos(angle), centre[1] + 410 * math.sin(angle)
    pen.ellipse((x - 10, y - 10, x + 10, y + 10), fill=(20, 20, 20))
    paste_shape(
        picture,
        surface(rng, (140, 142, 146), 0.2),
        lambda p: p.ellipse((540, 370, 740, 570), fill=255),
    )
    ImageDraw.Draw(picture).ellipse((606, 436, 674, 504), fill=(40, 40, 42))
    return picture


def beam_on_wall(rng: np.random.Generator) -> Canvas:
    """The headlamp's low beam on a brick wall, with a chalk cross to aim at."""
    picture = surface(rng, (46, 38, 34), 0.5)
    pen = ImageDraw.Draw(picture)
    for row in range(0, 960, 60):
        pen.line((0, row, 1280, row), fill=(30, 26, 24), width=4)
        for column in range(-80 if (row // 60) % 2 else 0, 1280, 160):
            pen.line((column, row, column, row + 60), fill=(30, 26, 24), width=4)
    y, x = np.mgrid[0:960, 0:1280]
    glow = np.exp(-(((x - 690) / 300) ** 2) - ((y - 560) / 130) ** 2)
    glow *= 1 / (1 + np.exp(-(y - 470 + 0.12 * np.maximum(0, x - 690)) / 8.0))
    pixels = np.asarray(picture, dtype=np.float64) * (1 + 3.6 * glow[:, :, None])
    pixels += glow[:, :, None] * np.array([110, 104, 84])
    picture = Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))
    pen = ImageDraw.Draw(picture)
    pen.line((640, 380, 640, 560), fill=(226, 226, 220), width=6)
    pen.line((560, 470, 720, 470), fill=(226, 226, 220), width=6)
    return picture


PICTURES: dict[str, Callable[[np.random.Generator], Canvas]] = {
    "cracked sidewall": cracked_sidewall,
    "tread gauge": tread_gauge,
    "worn pads": worn_pads,
    "multimeter": multimeter,
    "hooked sprocket": hooked_sprocket,
    "leaking fork": leaking_fork,
    "spoked rim": spoked_rim,
    "beam on wall": beam_on_wall,
}


def main() -> None:
    """Draw every picture of the scenario with the camera's own (wrong) time in its EXIF."""
    manifest = json.loads((HERE / "manifest.json").read_text(encoding="utf-8"))
    camera = manifest["camera"]
    start = datetime.fromisoformat(manifest["inspection"]["start"])
    ahead = timedelta(seconds=float(camera["ahead_of_session_s"]))
    folder = HERE / "photos"
    folder.mkdir(exist_ok=True)
    for number, photo in enumerate(manifest["photos"], start=1):
        rng = np.random.default_rng(7_000 + number)
        picture = PICTURES[photo["shows"]](rng)
        picture = picture.filter(ImageFilter.GaussianBlur(0.7))
        grain = rng.normal(0, 4.0, (SIZE[1], SIZE[0], 1))
        pixels = np.clip(np.asarray(picture, dtype=np.float64) + grain, 0, 255).astype(np.uint8)
        taken = start + timedelta(seconds=float(photo["at_s"])) + ahead
        exif = Image.Exif()
        exif[0x010F] = camera["make"]
        exif[0x0110] = camera["model"]
        exif[0x0112] = 1
        exif[0x0132] = taken.strftime("%Y:%m:%d %H:%M:%S")
        detail = exif.get_ifd(0x8769)
        detail[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
        detail[0x9291] = f"{taken.microsecond // 10_000:02d}"
        detail[0xA431] = camera["serial"]
        Image.fromarray(pixels).save(
            folder / photo["file"], quality=82, exif=exif.tobytes(), optimize=True
        )
        print(f"{photo['file']}: {photo['shows']}, camera clock {taken:%H:%M:%S}")


if __name__ == "__main__":
    main()
