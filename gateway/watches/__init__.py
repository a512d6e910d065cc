"""What is watched of one post: its clock, how its receivers hear, how far and how busily. No I/O; time is passed in."""
