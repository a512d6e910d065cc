"""What the commands do: each reads files or asks a running gateway, and says what came of it."""
