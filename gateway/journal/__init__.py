"""The journal: what this post heard and decided, kept on disk: an SQLite file, and captures. Nobody waits for it."""
