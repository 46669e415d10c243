//! Sessions whose truth is known: room, sheet, moved microphone, noise.
