"""What a person sees at a glance: the four tiles, and the picture on a small screen. No I/O, no clock.

What the gateway publishes goes in, be it asked for over HTTP or not; words, a scene and a picture come out.

| file | holds |
| --- | --- |
| `layout.py` | where everything stands on a small screen of any size: a view in, a scene out |
| `lettering.py` | how wide a text is, and which wording of it fits |
| `png.py` | a scene as pixels, and as PNG: drawn by Pillow, the extra `panel` |
| `report_words.py` | one report in a few plain words |
| `scene.py` | a picture as boxes and lines of text, and its colours |
| `sheet.py` | a canvas on which boxes and texts are put, as large as they go |
| `shown.py` | what the gateway publishes, as far as a person is shown it |
| `svg.py` | a scene as SVG |
| `tiles.py` | antenna, decoder, uplink and house: each in a word, a number, and what to do |
| `view.py` | what a small screen says: the last station or the emergency, and how the post is |
"""
