//! The manifest on any text.

#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| scrimcheck_fuzz::manifest(bytes));
