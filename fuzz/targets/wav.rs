//! The WAV reader on any bytes.

#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| scrimcheck_fuzz::wav(bytes));
