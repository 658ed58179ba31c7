#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| becket_fuzz::schedule(data));
