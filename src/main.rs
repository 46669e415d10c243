//! The `scrimcheck` command: parses, calls the library, prints.

fn main() {}
