#![no_main]
//! libFuzzer drives the target `panel`.

#[allow(dead_code)]
#[path = "../targets.rs"]
mod targets;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| targets::panel(bytes));
