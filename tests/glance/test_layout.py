"""That nothing overflows, whatever is said and however large the screen is; and what stands on it."""

import io
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageChops, ImageFont

from gateway.glance import lettering, png, svg
from gateway.glance.layout import scene
from gateway.glance.scene import HIGHEST, LOWEST, NARROWEST, WIDEST, Box, Canvas, Colours, Ground, Ink, Lettering, Scene
from gateway.glance.shown import HeardShown
from gateway.glance.view import CAUTION, view
from tests.glance.scenarios import LATER, SCENARIOS

SIZES = [(128, 64), (250, 122), (320, 240), (240, 320), (480, 320), (800, 480), (1920, 64), (128, 1200)]
SVG = "{http://www.w3.org/2000/svg}"

canvases = st.builds(
    Canvas,
    st.integers(NARROWEST, WIDEST),
    st.integers(LOWEST, HIGHEST),
    st.sampled_from(["full", "2"]),
    st.sampled_from(["dark", "light"]),
)
wild = st.text(st.characters(exclude_categories=["Cs"]), max_size=120)


def drawn(name: str, width: int, height: int, colours: Colours = "full", ground: Ground = "dark") -> Scene:
    return scene(view(SCENARIOS[name](), LATER), Canvas(width, height, colours, ground))


def written(made: Scene) -> list[str]:
    return [text.text for text in made.letterings]


def keeps_within(made: Scene) -> bool:
    canvas = made.canvas
    rooms: list[Box | Lettering] = [*made.boxes, *made.letterings]
    return all(
        room.left >= 0
        and room.top >= 0
        and room.left + room.width <= canvas.width
        and room.top + room.height <= canvas.height
        for room in rooms
    ) and all(
        lettering.width(text.text, text.size) <= text.width + 0.01 and text.size * lettering.LINE <= text.height + 0.01
        for text in made.letterings
    )


def with_words(known_heard: HeardShown, source: str, words: str) -> HeardShown:
    report = known_heard.report.model_copy(update={"comment": words, "text": words})
    return known_heard.model_copy(update={"source": source, "information": words, "report": report})


@given(canvases, st.sampled_from(list(SCENARIOS)), wild, wild)
def test_no_text_overflows_its_room_and_no_room_the_screen(canvas: Canvas, name: str, source: str, words: str) -> None:
    known = SCENARIOS[name]()
    last = None if known.last is None else with_words(known.last, source, words)
    emergency = None if known.emergency is None else with_words(known.emergency, source, words)
    made = scene(view(replace(known, last=last, emergency=emergency), LATER), canvas)
    assert keeps_within(made)
    root = ET.fromstring(svg.draw(made))
    assert root.attrib["width"] == str(canvas.width)


@pytest.mark.parametrize("size", [(128, 64), (250, 122), (240, 320), (480, 320)])
@pytest.mark.parametrize("colours", ["full", "2"])
@pytest.mark.parametrize("name", SCENARIOS)
def test_pixels_keep_within_the_room_that_was_reckoned(name: str, colours: Colours, size: tuple[int, int]) -> None:
    made = drawn(name, *size, colours)
    for text in made.letterings:
        alone = png.picture(replace(made, boxes=(), letterings=(replace(text, ink=Ink.TEXT),)))
        ground = Image.new("RGB", alone.size, made.canvas.colour(Ink.GROUND))
        drawn_box = ImageChops.difference(alone, ground).getbbox()
        assert drawn_box is not None, text
        left, top, right, bottom = drawn_box
        slack = 1  # a letter's edge is rounded to a whole pixel
        assert left >= text.left - slack, text
        assert right <= text.left + text.width + slack, text
        assert top >= text.top - slack, text
        assert bottom <= text.top + text.height + slack, text


@pytest.mark.parametrize("ground", ["dark", "light"])
@pytest.mark.parametrize("name", SCENARIOS)
def test_two_colours_are_two_colours(name: str, ground: Ground) -> None:
    made = drawn(name, 250, 122, "2", ground)
    colours = png.picture(made).getcolors(16)
    assert colours is not None
    assert {colour for _, colour in colours} == {(0, 0, 0), (255, 255, 255)}
    file = Image.open(io.BytesIO(png.draw(made)))
    assert (file.format, file.mode, file.size) == ("PNG", "1", (250, 122))


@pytest.mark.parametrize("size", SIZES)
def test_the_last_station_stands_in_the_largest_letters(size: tuple[int, int]) -> None:
    made = drawn("busy", *size)
    largest = max(made.letterings, key=lambda text: text.size)
    assert largest.text == "QA1FGH-8"
    assert any(words.startswith("5.5 km NE") for words in written(made))
    assert any(words.startswith("7 min") for words in written(made))
    assert any(words.startswith("all ok") for words in written(made))


@pytest.mark.parametrize("size", SIZES)
def test_an_emergency_takes_the_whole_and_says_what_is_no_promise(size: tuple[int, int]) -> None:
    made = drawn("emergency", *size)
    assert [(box.width, box.height, box.ink) for box in made.boxes] == [(*size, Ink.BAD)]
    assert written(made)[0] == "EMERGENCY"
    assert "QA1BCD-9" in written(made)
    assert any(words in CAUTION for words in written(made))
    assert "QA1FGH-8" not in written(made)


@pytest.mark.parametrize("size", SIZES)
def test_what_is_down_fills_the_line_of_health(size: tuple[int, int]) -> None:
    made = drawn("down", *size)
    assert any(words.startswith("uplink: away") for words in written(made))
    assert Ink.BAD in {box.ink for box in made.boxes}


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ["silent", "unasked", "silent emergency", "asking"])
def test_nothing_is_green_without_an_answer(name: str, size: tuple[int, int]) -> None:
    made = drawn(name, *size)
    assert Ink.GOOD not in {box.ink for box in made.boxes}
    if name == "asking":
        assert "asking the gateway" in written(made)
        return
    assert any(words.startswith("no answer") for words in written(made))


def test_two_moments_in_which_nothing_changed_make_one_scene() -> None:
    known, canvas = SCENARIOS["busy"](), Canvas(320, 240)
    first = scene(view(known, LATER), canvas)
    assert scene(view(known, LATER.replace(second=40)), canvas) == first
    assert hash(scene(view(known, LATER.replace(second=40)), canvas)) == hash(first)
    assert scene(view(known, LATER.replace(minute=8)), canvas) != first


def test_the_reckoned_widths_are_those_of_the_font_that_pillow_carries() -> None:
    font = ImageFont.load_default(1000)
    letters = [chr(code) for code in range(32, 127)] + ["°", "·", lettering.ELLIPSIS]
    assert {one: lettering.width(one, 1000) for one in letters} == {one: font.getlength(one) for one in letters}


def test_letters_that_the_font_lacks_are_drawn_without_accents_or_as_a_question_mark() -> None:
    assert lettering.drawable("Café Ålesund 中\x1b[2J…") == "Cafe Alesund ??[2J…"


def test_an_svg_is_said_aloud_and_holds_each_text_to_its_width() -> None:
    root = ET.fromstring(svg.draw(drawn("down", 320, 240)))
    assert root.attrib["role"] == "img"
    assert "QA1FGH-8" in root.attrib["aria-label"]
    assert "uplink: away, no server answers" in root.attrib["aria-label"]
    texts = list(root.iter(f"{SVG}text"))
    assert "QA1FGH-8" in [text.text for text in texts]
    assert all(float(text.attrib["textLength"]) <= 320 for text in texts)


def test_text_from_the_air_is_text_in_an_svg() -> None:
    known = SCENARIOS["busy"]()
    assert known.last is not None
    hostile = with_words(known.last, "<script>\"'&", "]]></text><script>alert(1)</script>\x00\ufffe")
    made = svg.draw(scene(view(replace(known, last=hostile), LATER), Canvas(480, 320)))
    root = ET.fromstring(made)
    assert {element.tag for element in root.iter()} == {f"{SVG}svg", f"{SVG}rect", f"{SVG}text"}
