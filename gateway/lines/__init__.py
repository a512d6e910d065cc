"""The text port: every frame heard as a line of monitor text, to any program that connects. Read only."""
