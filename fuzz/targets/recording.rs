//! The readers of recordings on any bytes.

#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| scrimcheck_fuzz::recording(bytes));
