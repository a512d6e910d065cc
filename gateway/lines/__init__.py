"""The text port: every frame heard as a line of monitor text, to any program that connects. Read only.

| file | holds |
| --- | --- |
| `client.py` | one program that is connected to the text port: lines go to it, and what it says is thrown away |
| `options.py` | what the text port is told: where it listens, and how much may wait for whom |
| `server.py` | the text port: takes every frame heard, without ever waiting |
"""
