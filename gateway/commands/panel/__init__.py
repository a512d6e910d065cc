"""`stile panel`: the picture of a running gateway, kept on a framebuffer or in a file while something changes.

| file | holds |
| --- | --- |
| `framebuffer.py` | Linux framebuffers: how their pixels lie, asked of the kernel, and the picture written to them |
| `request.py` | the screen that it was asked for: a framebuffer, or a picture in a file that is always whole |
| `screen.py` | what is drawn on, as a value; and the error of one that cannot be drawn on |
| `show.py` | `stile panel`: follows a gateway, and shows what is to be seen when that has changed |
"""
