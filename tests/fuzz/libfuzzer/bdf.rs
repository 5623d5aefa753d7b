#![no_main]
//! libFuzzer drives the target `bdf`.

#[allow(dead_code)]
#[path = "../targets.rs"]
mod targets;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| targets::bdf(bytes));
