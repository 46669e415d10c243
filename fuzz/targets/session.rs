//! `check` and `analyze` on a small session, spoilt as the bytes say.

#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| scrimcheck_fuzz::session::run(bytes));
