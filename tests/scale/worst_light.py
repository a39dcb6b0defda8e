"""The worst pictures: light, blur, noise, lenses, screens and what programs do to a picture."""

import cv2
import numpy as np
from worst_made import KINDS, SIZE, along_rows, card_area, homography, light, spoilt


def put(name, change, usable=True, settings=None, **kept):
    KINDS[name] = lambda *a: spoilt(*a, change, usable=usable, settings=settings, **kept)


def same(picture, *_):
    return picture


def soft(sigma):
    return lambda p, *_: cv2.GaussianBlur(p, (0, 0), sigma)


def shaken(length, angle=30.0):
    def change(picture, *_):
        ends = length / 2 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
        kernel = np.zeros((2 * length + 1, 2 * length + 1), np.float32)
        middle = np.array([length, length])
        a, b = ((middle + s * ends) * 16 for s in (-1, 1))
        cv2.line(
            kernel,
            tuple(a.round().astype(int).tolist()),
            tuple(b.round().astype(int).tolist()),
            1.0,
            1,
            cv2.LINE_AA,
            4,
        )
        return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)

    return change


def noisy(sigma):
    return lambda p, scene, random: np.clip(p + random.normal(0, sigma, p.shape), 0, 255).astype(np.uint8)


def peppered(share):
    def change(picture, scene, random):
        chance = random.uniform(size=picture.shape[:2])
        picture = picture.copy()
        picture[chance < share / 2], picture[chance > 1 - share / 2] = 0, 255
        return picture

    return change


def sharpened(amount):
    return lambda p, *_: cv2.addWeighted(p, 1 + amount, cv2.GaussianBlur(p, (0, 0), 2.0), -amount, 0)


def hand_shadow(picture, scene, random):
    rows, columns = picture.shape[:2]
    share = np.zeros((rows, columns), np.float32)
    for _ in range(5):
        at = random.uniform([0.2, 0.2], [0.8, 0.8]) * [columns, rows]
        size = random.uniform(60, 260, 2).astype(int)
        cv2.ellipse(share, at.astype(int).tolist(), size.tolist(), random.uniform(0, 180), 0, 360, 1.0, -1)
    share = cv2.GaussianBlur(share, (0, 0), 5.0)[:, :, None]
    return (picture * (1 - 0.6 * share)).astype(np.uint8)


def glared(picture, scene, random):
    rows, columns = picture.shape[:2]
    y, x = np.mgrid[:rows, :columns]
    more = np.zeros((rows, columns))
    for _ in range(8):
        at, size = random.uniform([0, 0], [columns, rows]), random.uniform(30, 120)
        more += 400 * np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * size**2))
    return np.clip(picture + more[:, :, None], 0, 255).astype(np.uint8)


def screen(picture, scene, random):
    """Seen on a screen of stripes, a little from the side, so that pixel and stripe beat."""
    rows, columns = picture.shape[:2]
    big = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR).astype(np.float32)
    for colour in range(3):
        stripe = np.full(3, 0.35, np.float32)
        stripe[colour] = 1.6
        big[:, :, colour] *= np.tile(stripe, big.shape[1] // 3 + 1)[: big.shape[1]]
    big[::3] *= 0.6
    matrix = np.array([[0.47, 0.012, 30], [-0.01, 0.468, 25], [6e-6, 1e-5, 1]])
    there = matrix @ np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]])
    warped, _ = homography(np.clip(big, 0, 255).astype(np.uint8), matrix, (columns, rows))
    return warped, lambda p: cv2.perspectiveTransform(np.asarray(p, float)[None], there)[0]


def tilted_again(strength):
    """A picture of the picture: a second perspective on top of the lens."""

    def change(picture, scene, random):
        rows, columns = picture.shape[:2]
        corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
        moved = corners + (
            random.uniform(0, strength, (4, 2)) * [columns, rows] * [[1, 1], [-1, 1], [-1, -1], [1, -1]]
        )
        matrix = cv2.getPerspectiveTransform(corners, moved.astype(np.float32))
        return homography(picture, matrix, (columns, rows))

    return change


def stretched(x, y, shear=0.0):
    def change(picture, scene, random):
        matrix = np.array([[x, shear, 0], [0, y, 0], [0, 0, 1.0]])
        rows, columns = picture.shape[:2]
        return homography(picture, matrix, (round(columns * x + max(shear, 0) * rows), round(rows * y)))

    return change


def about(angle):
    def change(picture, scene, random):
        matrix = np.eye(3)
        rows, columns = picture.shape[:2]
        matrix[:2] = cv2.getRotationMatrix2D((columns / 2, rows / 2), angle, 0.65)
        return homography(picture, matrix, (columns, rows))

    return change


def wavy(size, period):
    return lambda p, *_: along_rows(p, lambda y: size * np.sin(2 * np.pi * y / period))


def bent_by_program(k):
    """A "lens correction" of another lens: radii from the picture's middle grow by k r^4."""

    def change(picture, scene, random):
        rows, columns = picture.shape[:2]
        middle, unit = np.array([columns / 2, rows / 2]), np.hypot(columns, rows) / 2

        def moved(p):
            off = (np.asarray(p, float) - middle) / unit
            return middle + off * unit * (1 + k * (off**2).sum(axis=1, keepdims=True) ** 2)

        y, x = np.mgrid[:rows, :columns]
        at = np.column_stack([x.ravel(), y.ravel()]).astype(float)
        source = at.copy()
        for _ in range(25):
            source += at - moved(source)
        maps = source.astype(np.float32).reshape(rows, columns, 2)
        return cv2.remap(picture, maps, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE), moved

    return change


def bordered(picture, scene, random):
    """A screenshot: bars above and below, the picture made smaller."""
    small = cv2.resize(picture, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA)
    framed = cv2.copyMakeBorder(small, 130, 90, 40, 40, cv2.BORDER_CONSTANT, value=(20, 20, 20))
    cv2.putText(framed, "12:34   photo 7 of 9", (60, 80), cv2.FONT_HERSHEY_SIMPLEX, 1.5, (250, 250, 250), 2)
    return framed, lambda p: (p + 0.5) * 0.8 - 0.5 + [40, 130]


def resized(factor, how=cv2.INTER_CUBIC):
    return lambda p, *_: (
        cv2.resize(p, None, fx=factor, fy=factor, interpolation=how),
        lambda q: (q + 0.5) * factor - 0.5,
    )


def upside_down(picture, *_):
    size = np.array(picture.shape[1::-1]) - 1
    return np.ascontiguousarray(picture[::-1, ::-1]), lambda p: size - p


def scribbled(picture, scene, random):
    picture = picture.copy()
    for _ in range(25):
        a, b = random.uniform(0, 1, (2, 2)) * picture.shape[1::-1]
        cv2.line(
            picture,
            a.astype(int).tolist(),
            b.astype(int).tolist(),
            random.integers(0, 255, 3).tolist(),
            9,
            cv2.LINE_AA,
        )
    return picture


def coins(picture, scene, random):
    """Things laid on the card's border: screws, coins, a pen."""
    picture = picture.copy()
    for x, y in random.uniform(0, 1, (18, 2)):
        at = card_area(scene, x * 0.9, y * 0.9, x * 0.9 + 0.05, y * 0.9 + 0.05)[0]
        cv2.circle(
            picture,
            at.tolist(),
            int(random.uniform(12, 45)),
            random.integers(40, 220, 3).tolist(),
            -1,
            cv2.LINE_AA,
        )
    return picture


for sigma in (2, 4, 8, 20):
    put(f"blur of {sigma} pixels", soft(sigma), usable=sigma < 6)
for length in (6, 15, 40):
    put(f"shaken by {length} pixels", shaken(length), usable=length < 30)
for sigma in (15, 40, 90):
    put(f"noise of {sigma} grey levels", noisy(sigma), usable=sigma < 90)
put("few electrons", same, settings={"light": "dim"}, electrons=60.0)
put("salt and pepper", peppered(0.05))
put("salt and pepper, thick", peppered(0.35), usable=False)
put("underexposed", light(lambda x: 0.02 * x))
put("underexposed to the last levels", light(lambda x: 0.002 * x), usable=False)
put("overexposed", light(lambda x: 3 * x))
put("overexposed white", light(lambda x: 60 * x), usable=False)
put("flat fog", light(lambda x: 0.45 + 0.06 * x))
put("blue cast", light(lambda x: x * [1.0, 0.1, 0.02]))
put("red light alone", light(lambda x: x * [0, 0, 1.0]))
put("JPEG of quality 5", same, settings={"quality": 5})
put("JPEG of quality 1", same, settings={"quality": 1}, usable=False)
put("negative", lambda p, *_: 255 - p, usable=False)
put("four grey levels", lambda p, *_: (p // 64 * 85).astype(np.uint8))
put("sharpened hard", sharpened(4.0))
put("median of 9 pixels", lambda p, *_: cv2.medianBlur(p, 9))
put("smoothed by a beauty filter", lambda p, *_: cv2.bilateralFilter(p, 9, 60, 5))
put("hand shadow", hand_shadow)
put("glare over codes", glared)
put("things on the card", coins)
put("scribbled over", scribbled)
put("photo of a screen", screen, usable=False)
put("picture of a picture", tilted_again(0.12), usable=False)
put("picture of a picture, slightly tilted", tilted_again(0.03), usable=False)
put("stretched by 10 %", stretched(1.1, 1), usable=False)
put("stretched by 2 %", stretched(1.02, 1), usable=False)
put("sheared by a rolling shutter, 2 %", stretched(1, 1, 0.02), usable=False)
put("sheared by a rolling shutter, 0.3 %", stretched(1, 1, 0.003), usable=False)
put("rolling shutter in a tremor", wavy(3, 300), usable=False)
put("rolling shutter in a fast tremor", wavy(4, 60), usable=False)
put("turned by 37 degrees", about(37))
put("lens corrected for another lens", bent_by_program(0.12), usable=False)
put("lens corrected for another lens, slightly", bent_by_program(0.02), usable=False)
put("screenshot with a border", bordered)
put("half as large", resized(0.5, cv2.INTER_AREA))
put("a thumbnail", resized(0.1, cv2.INTER_AREA), usable=False)
put("blown up three times", resized(2.0))
put("nearest neighbour", resized(0.73, cv2.INTER_NEAREST))
put("video frame", same, settings={"size": (640, 480)})
put("video frame, small", same, settings={"size": (320, 240)}, usable=False)
put("video frame, compressed", same, settings={"size": (640, 480), "quality": 20})
put("upside down", upside_down)
put("mirror image", same, usable=False, mirrored=True)
put(
    "mirror image, upright",
    lambda p, s, r: (np.ascontiguousarray(p[::-1]), lambda q: q * [1, -1] + [0, SIZE[1] - 1]),
    usable=False,
)
put(
    "everything at once",
    lambda p, s, r: shaken(6)(noisy(15)(hand_shadow(glared(p, s, r), s, r), s, r)),
    settings={"quality": 30},
)
