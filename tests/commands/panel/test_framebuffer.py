"""A framebuffer that is a file: every octet of it, for the layouts that small displays have."""

import struct
from pathlib import Path

import pytest
from PIL import Image

from gateway.commands.panel.framebuffer import BitField, Geometry, framebuffer, packed, read_geometry
from gateway.commands.panel.screen import ScreenError
from gateway.glance import layout, png
from gateway.glance.scene import Canvas, Scene
from gateway.glance.view import view
from tests.glance.scenarios import LATER, SCENARIOS

RGB565 = (BitField(11, 5), BitField(5, 6), BitField(0, 5))
XRGB8888 = (BitField(16, 8), BitField(8, 8), BitField(0, 8))
COLOURS = {
    "black": ((0, 0, 0), 0x0000, 0x000000),
    "white": ((255, 255, 255), 0xFFFF, 0xFFFFFF),
    "red": ((255, 0, 0), 0xF800, 0xFF0000),
    "green": ((0, 255, 0), 0x07E0, 0x00FF00),
    "blue": ((0, 0, 255), 0x001F, 0x0000FF),
    "vermillion": ((213, 94, 0), 0xD2E0, 0xD55E00),
    "least that counts": ((8, 4, 8), 0x0821, 0x080408),
    "below that": ((7, 3, 7), 0x0000, 0x070307),
}


def geometry(width: int, height: int, bits: int, line_octets: int | None = None, start: int = 0) -> Geometry:
    octets = bits // 8
    fields = RGB565 if bits == 16 else XRGB8888
    return Geometry(width, height, octets, line_octets or width * octets, *fields, start=start)


def made(width: int, height: int) -> Scene:
    return layout.scene(view(SCENARIOS["down"](), LATER), Canvas(width, height))


@pytest.mark.parametrize("name", COLOURS)
def test_a_pixel_of_16_bits_is_that_of_rgb565(name: str) -> None:
    colour, word, _ = COLOURS[name]
    assert packed(bytes(colour), geometry(1, 1, 16)) == struct.pack("=H", word)


@pytest.mark.parametrize("name", COLOURS)
def test_a_pixel_of_32_bits_is_that_of_xrgb8888(name: str) -> None:
    colour, _, word = COLOURS[name]
    assert packed(bytes(colour), geometry(1, 1, 32)) == struct.pack("=I", word)


def test_a_pixel_that_could_be_seen_through_is_not() -> None:
    seen_through = Geometry(1, 1, 4, 4, *XRGB8888, transparency=BitField(24, 8))
    assert packed(b"\x01\x02\x03", seen_through) == struct.pack("=I", 0xFF010203)


def test_colours_of_more_than_eight_bits_are_as_bright() -> None:
    deep = Geometry(1, 1, 4, 4, BitField(20, 10), BitField(10, 10), BitField(0, 10))
    assert packed(b"\xff\x00\x80", deep) == struct.pack("=I", 0x3FC << 20 | 0x200)


def test_pixels_of_32_bits_are_those_that_another_packer_makes() -> None:
    picture = png.picture(made(128, 64))
    assert packed(picture.tobytes(), geometry(128, 64, 32)) == picture.tobytes("raw", "BGRX")


@pytest.mark.parametrize("bits", [16, 32])
def test_lines_stand_where_the_kernel_says_and_nothing_between_them_is_touched(tmp_path: Path, bits: int) -> None:
    width, height, octets = 160, 80, bits // 8
    line_octets, start = width * octets + 24, 40
    path = tmp_path / "fb1"
    path.write_bytes(b"\xa5" * (start + height * line_octets + 100))
    scene = made(width, height)
    with framebuffer(path, "full", "dark", geometry(width, height, bits, line_octets, start)) as screen:
        assert (screen.canvas.width, screen.canvas.height) == (width, height)
        screen.show(scene)
    drawn = path.read_bytes()
    pixels = packed(png.picture(scene).tobytes(), geometry(width, height, bits))
    expected = bytearray(b"\xa5" * len(drawn))
    for row in range(height):
        place, line = start + row * line_octets, width * octets
        expected[place : place + line] = pixels[row * line : (row + 1) * line]
    assert drawn == bytes(expected)


def test_what_is_read_back_is_the_picture(tmp_path: Path) -> None:
    path = tmp_path / "fb1"
    path.touch()
    scene = made(240, 240)
    with framebuffer(path, "full", "dark", geometry(240, 240, 32)) as screen:
        screen.show(scene)
    read = Image.frombytes("RGB", (240, 240), path.read_bytes(), "raw", "BGRX")
    assert read.tobytes() == png.picture(scene).tobytes()


# What the kernel says, written as the compiler lays `linux/fb.h` out.


def variable(width: int, height: int, bits: int, fields: tuple[BitField, ...] = RGB565, **more: int) -> bytes:
    words = [width, height, width, height * 2, more.get("left", 0), more.get("top", 0), bits, 0]
    for field in (*fields, BitField(0, 0)):
        words += [field.offset, field.length, 0]
    words += [more.get("nonstd", 0), *[0] * 19]
    return struct.pack("@40I", *words)


def fixed(line_octets: int, visual: int = 2, kind: int = 0) -> bytes:
    return struct.pack("@16sLIIIIHHHILIIHHH0L", b"small", 0, 0, kind, 0, visual, 0, 0, 0, line_octets, 0, 0, 0, 0, 0, 0)


def test_the_geometry_is_what_the_kernel_says() -> None:
    told = read_geometry(variable(320, 240, 16, top=240, left=8), fixed(656))
    assert told == Geometry(320, 240, 2, 656, *RGB565, start=240 * 656 + 8 * 2)


def test_the_structures_are_as_long_as_those_of_the_kernel() -> None:
    assert len(variable(1, 1, 16)) == 160
    assert len(fixed(1)) == (80 if struct.calcsize("L") == 8 else 68)


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ((variable(320, 240, 8), fixed(320)), "has 8 bits a pixel"),
        ((variable(128, 64, 1), fixed(16, visual=0)), "has no true colours"),
        ((variable(320, 240, 16, nonstd=1), fixed(640)), "has no true colours"),
        ((variable(320, 240, 16), fixed(640, kind=1)), "has no true colours"),
        ((variable(96, 64, 16), fixed(192)), "is 96x64"),
        ((variable(3840, 2160, 32, XRGB8888), fixed(15360)), "is 3840x2160"),
        ((variable(320, 240, 16), fixed(600)), "says of itself what cannot be so"),
        ((variable(320, 240, 16, XRGB8888), fixed(640)), "says of itself what cannot be so"),
    ],
)
def test_one_that_cannot_be_drawn_on_is_refused_in_words(told: tuple[bytes, bytes], why: str) -> None:
    with pytest.raises(ScreenError, match=why):
        read_geometry(*told)


def test_a_file_that_is_no_framebuffer_is_told_from_one(tmp_path: Path) -> None:
    path = tmp_path / "fb1"
    path.touch()
    with pytest.raises(ScreenError, match="is no framebuffer"), framebuffer(path, "full", "dark"):
        pass
    with pytest.raises(ScreenError, match="No such file"), framebuffer(tmp_path / "fb2", "full", "dark"):
        pass


def test_a_framebuffer_that_goes_away_is_an_error_in_words() -> None:
    gone = framebuffer(Path("/dev/full"), "full", "dark", geometry(128, 64, 16))
    with gone as screen, pytest.raises(ScreenError, match="/dev/full: "):
        screen.show(made(128, 64))
