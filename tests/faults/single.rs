//! One fault, at every byte of a session.

use std::time::Instant;

use sidelight::panel::Controller;

use super::rig::{Fault, PANELS, session, setup};

/// Each kind of fault at each byte of the initialisation, of two updates and of a refresh.
fn at_every_byte(panel: (Controller, u32)) {
    let (setup, begun) = (setup(panel), Instant::now());
    let bytes = session(setup, &[], 1).unwrap();
    for fault in Fault::ALL {
        for byte in 0..bytes {
            session(setup, &[(byte, fault)], byte).unwrap();
        }
        println!("{panel:?}: {fault:?} at each of {bytes} bytes: healed");
    }
    println!("{:?}", begun.elapsed());
}

#[test]
fn any_fault_at_any_byte_is_healed_on_the_small_panel() {
    at_every_byte(PANELS[0]);
}

#[test]
fn any_fault_at_any_byte_is_healed_on_the_large_panel() {
    at_every_byte(PANELS[1]);
}

#[test]
fn any_fault_at_any_byte_is_healed_with_page_addressing() {
    at_every_byte(PANELS[2]);
}
