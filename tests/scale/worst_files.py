"""The worst pictures: files of every kind, damaged ones, and EXIF that lies."""

import struct
import zlib

import cv2
import numpy as np
from PIL import Image, ImageOps
from worst_made import BOX, KINDS, Case, as_it_is, case, places_of, scene_of, spoilt


def nothing(picture, file="photo.png"):
    """A picture that shows no card, with nothing true of it."""

    def made(camera, seed, folder):
        image = Image.fromarray(picture(np.random.default_rng([seed, 510])))
        image.save(folder / file)
        columns, rows = image.size
        read = np.array([[0.0, 0.0], [columns - 1.0, rows - 1.0]])
        return Case(
            file, False, places_of(BOX), None, image.size, read, [[0, 0], [150, 0], [150, 95], [0, 95]]
        )

    return made


def grey(level, columns, rows):
    return lambda random: np.full((rows, columns), level, np.uint8)


def stored(write, file, usable=True):
    """A simulated photo written to a file by ``write(image, path, random)``."""

    def made(camera, seed, folder):
        scene = scene_of(camera, seed)
        image = Image.fromarray(scene.render()[:, :, ::-1].copy())
        write(image, folder / file, np.random.default_rng([seed, 520]))
        return case(scene, file, image.size, usable=usable)

    return made


def animated(image, path, random):
    others = [ImageOps.mirror(image), Image.new("RGB", image.size, "white")]
    settings = {"lossless": True, "method": 0} if path.suffix == ".webp" else {}
    image.save(path, save_all=True, append_images=others, duration=200, **settings)


def shortened(share, **settings):
    def write(image, path, random):
        image.save(path, **settings)
        data = path.read_bytes()
        path.write_bytes(data[: int(len(data) * share)])

    return write


def flipped(image, path, random):
    """Bytes in the middle of the file replaced."""
    image.save(path, quality=90)
    data = bytearray(path.read_bytes())
    at = random.integers(len(data) // 3, 2 * len(data) // 3, 200)
    data[int(at[0]) : int(at[0]) + 64] = random.bytes(64)
    path.write_bytes(bytes(data))


def sixteen(image, path, random):
    levels = np.asarray(image.convert("L")).astype(np.uint16) * 257
    Image.fromarray(levels).save(path)


def see_through(image, path, random):
    """Each eighth stripe of the table wholly transparent, the rest a little."""
    alpha = np.full(image.size[::-1], 235, np.uint8)
    alpha[:40], alpha[:, :40] = 0, 0
    image.putalpha(Image.fromarray(alpha))
    image.save(path)


def all_transparent(image, path, random):
    image.putalpha(0)
    image.save(path)


def lying(camera, seed, folder, told, orientation=None, settings=None):
    """EXIF that says what is not so."""
    return spoilt(
        camera, seed, folder, as_it_is, settings=settings, exif={"make": "Maker", "model": "Camera 1"} | told
    )


def turned_by_tag(camera, seed, folder, tag):
    """An upright picture whose file says that it is to be turned (EXIF 2.3, tag 274): viewers turn it."""
    scene = scene_of(camera, seed)
    image = Image.fromarray(scene.render()[:, :, ::-1].copy())
    tags = Image.Exif()
    tags[274] = tag
    image.save(folder / "photo.jpg", exif=tags, quality=scene.quality)
    columns, rows = image.size
    last = np.array([columns - 1, rows - 1])
    moved = {
        2: lambda p: np.column_stack([last[0] - p[:, 0], p[:, 1]]),
        3: lambda p: last - p,
        5: lambda p: p[:, ::-1],
        6: lambda p: np.column_stack([last[1] - p[:, 1], p[:, 0]]),
        8: lambda p: np.column_stack([p[:, 1], last[0] - p[:, 0]]),
    }
    size = (columns, rows) if tag in (2, 3) else (rows, columns)
    return case(scene, "photo.jpg", size, moved.get(tag, lambda p: p), usable=tag not in (2, 5))


def raw(data, file):
    """Bytes that are no picture."""

    def made(camera, seed, folder):
        (folder / file).write_bytes(data)
        read = np.array([[0.0, 0.0], [100.0, 0.0]])
        return Case(file, False, places_of(BOX), None, (1, 1), read, [[0, 0], [150, 0], [150, 95], [0, 95]])

    return made


def png_that_claims(columns, rows):
    """A PNG header of a picture far larger than the file (PNG specification, 5.2 and 11.2.2)."""
    head = struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", len(head)) + b"IHDR" + head + struct.pack(">I", zlib.crc32(b"IHDR" + head))
    return b"\x89PNG\r\n\x1a\n" + chunk


def checkers(random):
    return (np.indices((1200, 1600)).sum(0) // 40 % 2 * 255).astype(np.uint8)


def rubbish(random):
    return random.integers(0, 255, (1200, 1600, 3)).astype(np.uint8)


def loose_codes(random):
    """Codes of the card's own set strewn about, on no card."""
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    picture = np.full((1200, 1600), 255, np.uint8)
    for n in random.choice(160, 60, replace=False):
        x, y = random.integers(0, [1500, 1100])
        picture[y : y + 70, x : x + 70] = codes.generateImageMarker(int(n), 70)
    return picture


KINDS["black"] = nothing(grey(0, 1600, 1200))
KINDS["white"] = nothing(grey(255, 1600, 1200))
KINDS["one pixel"] = nothing(grey(128, 1, 1))
KINDS["1 x 4000 pixels"] = nothing(grey(128, 1, 4000))
KINDS["4000 x 1 pixels"] = nothing(grey(128, 4000, 1))
KINDS["15 x 15 pixels"] = nothing(grey(128, 15, 15))
KINDS["a plain chessboard"] = nothing(checkers)
KINDS["rubbish"] = nothing(rubbish)
KINDS["codes strewn about"] = nothing(loose_codes)
KINDS["text called photo.jpg"] = raw(b"this is no picture\n" * 40, "photo.jpg")
KINDS["empty file"] = raw(b"", "photo.jpg")
KINDS["zeros"] = raw(bytes(5000), "photo.png")
KINDS["HEIC header"] = raw(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(4000), "photo.jpg")
KINDS["PNG that claims 60000 x 60000"] = raw(png_that_claims(60000, 60000), "photo.png")
KINDS["PNG without pixels"] = raw(png_that_claims(1600, 1200), "photo.png")
KINDS["animated GIF"] = stored(animated, "photo.gif", usable=False)
KINDS["animated WebP"] = stored(animated, "photo.webp")
KINDS["animated PNG"] = stored(animated, "photo.png")
KINDS["JPEG cut off at a third"] = stored(shortened(0.33, quality=90), "photo.jpg", usable=False)
KINDS["JPEG cut off near its end"] = stored(shortened(0.98, quality=90), "photo.jpg", usable=False)
KINDS["PNG cut off"] = stored(shortened(0.6), "photo.png", usable=False)
KINDS["WebP cut off"] = stored(shortened(0.6, quality=90, method=0), "photo.webp", usable=False)
KINDS["TIFF cut off"] = stored(shortened(0.7), "photo.tif", usable=False)
KINDS["BMP cut off"] = stored(shortened(0.7), "photo.bmp", usable=False)
KINDS["JPEG with damaged bytes"] = stored(flipped, "photo.jpg", usable=False)
KINDS["CMYK JPEG"] = stored(lambda i, p, r: i.convert("CMYK").save(p, quality=90), "photo.jpg")
KINDS["CMYK TIFF"] = stored(lambda i, p, r: i.convert("CMYK").save(p), "photo.tif")
KINDS["16-bit grey PNG"] = stored(sixteen, "photo.png")
KINDS["16-bit grey TIFF"] = stored(sixteen, "photo.tif")
KINDS["float TIFF"] = stored(lambda i, p, r: i.convert("F").save(p), "photo.tif", usable=False)
KINDS["palette of 256"] = stored(lambda i, p, r: i.convert("P").save(p), "photo.png")
KINDS["palette of 8"] = stored(lambda i, p, r: i.quantize(8).save(p), "photo.png")
KINDS["one bit, dithered"] = stored(lambda i, p, r: i.convert("1").save(p), "photo.png", usable=False)
KINDS["one bit, by threshold"] = stored(
    lambda i, p, r: i.convert("L").point(lambda v: 255 * (v > 90)).convert("1").save(p), "photo.png"
)
KINDS["transparent margins"] = stored(see_through, "photo.png")
KINDS["wholly transparent"] = stored(all_transparent, "photo.png", usable=False)
KINDS["grey JPEG"] = stored(lambda i, p, r: i.convert("L").save(p, quality=80), "photo.jpg")
KINDS["JPEG called photo.png"] = stored(lambda i, p, r: i.save(p, "JPEG", quality=80), "photo.png")
KINDS["Lab TIFF"] = stored(lambda i, p, r: i.convert("YCbCr").save(p, compression="jpeg"), "photo.tif")
for tag in (2, 3, 5, 6, 8, 77):
    KINDS[f"EXIF orientation {tag} that lies"] = lambda *a, tag=tag: turned_by_tag(*a, tag)
for focal in (13, 52, 85, 400, 3):
    KINDS[f"EXIF focal length {focal} that lies"] = lambda *a, focal=focal: lying(*a, {"focal_35": focal})
KINDS["EXIF without a focal length"] = lambda *a: lying(*a, {})
KINDS["EXIF focal length 35 of a 28 mm lens"] = lambda *a: lying(
    *a, {"focal_35": 35}, settings={"focal_35": 28.0}
)
