"""A person, a cuff and a room: recordings whose truth is known."""
