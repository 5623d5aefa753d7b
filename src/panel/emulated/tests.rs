//! The emulated panel against what the datasheet says, byte by byte.

use embedded_hal::i2c::I2c;

use super::*;

const ADDRESS: u8 = 0x3c;

fn panel(height: u32) -> EmulatedPanel {
    EmulatedPanel::new(Controller::Ssd1306, Size::new(128, height), ADDRESS, 7)
}

fn commands(panel: &mut EmulatedPanel, bytes: &[u8]) {
    let mut write = vec![0x00];
    write.extend_from_slice(bytes);
    panel.write(ADDRESS, &write).unwrap();
}

fn data(panel: &mut EmulatedPanel, bytes: &[u8]) {
    let mut write = vec![0x40];
    write.extend_from_slice(bytes);
    panel.write(ADDRESS, &write).unwrap();
}

/// Lit, upright, RAM cleared, horizontal addressing, pointers at the top left.
fn ready(height: u32) -> EmulatedPanel {
    let mut panel = panel(height);
    let pins = if height > 32 { 0x12 } else { 0x02 };
    commands(&mut panel, &[0xa8, height as u8 - 1, 0xda, pins, 0xa1, 0xc8, 0x8d, 0x14, 0x20, 0x00]);
    data(&mut panel, &[0; 1024]);
    commands(&mut panel, &[0xaf]);
    assert_eq!(panel.complaints(), []);
    panel
}

/// Lit pixels, in reading order.
fn lit(panel: &EmulatedPanel) -> Vec<(i32, i32)> {
    let glass = panel.glass();
    let mut lit = Vec::new();
    for y in 0..64 {
        lit.extend((0..128).filter(|x| glass.pixel(Point::new(*x, y))).map(|x| (x, y)));
    }
    lit
}

#[test]
fn ram_is_noise_and_glass_is_dark_after_power_up() {
    let mut panel = panel(64);
    assert_eq!(lit(&panel), []);
    commands(&mut panel, &[0xaf]);
    assert_eq!(lit(&panel), [], "without its pump the panel is dark");
    commands(&mut panel, &[0x8d, 0x14]);
    let noise = panel.glass();
    assert!((2000..6000).contains(&lit(&panel).len()));
    panel.power_cycle();
    assert_eq!((lit(&panel), panel.contrast()), (vec![], 0x7f));
    commands(&mut panel, &[0x8d, 0x14, 0xaf]);
    assert!(panel.glass() != noise, "other noise after the next power-up");
}

#[test]
fn horizontal_addressing_fills_rows_of_the_window() {
    let mut panel = ready(32);
    commands(&mut panel, &[0x21, 10, 11, 0x22, 1, 2]);
    data(&mut panel, &[0x01, 0x02, 0x04, 0x08]);
    assert_eq!(lit(&panel), [(10, 8), (11, 9), (10, 18), (11, 19)]);
    data(&mut panel, &[0x80]);
    assert_eq!(lit(&panel), [(11, 9), (10, 15), (10, 18), (11, 19)], "back at the beginning of the window");
}

#[test]
fn vertical_addressing_fills_columns_of_the_window() {
    let mut panel = ready(32);
    commands(&mut panel, &[0x20, 0x01, 0x21, 10, 11, 0x22, 1, 2]);
    data(&mut panel, &[0x01, 0x02, 0x04, 0x08, 0x80]);
    assert_eq!(lit(&panel), [(11, 10), (10, 15), (10, 17), (11, 19)]);
}

#[test]
fn a_window_command_moves_its_own_pointer_only() {
    let mut panel = ready(32);
    commands(&mut panel, &[0x20, 0x01, 0x21, 0, 127, 0x22, 0, 3]);
    data(&mut panel, &[0, 0]);
    commands(&mut panel, &[0x21, 50, 60]);
    data(&mut panel, &[0x01]);
    assert_eq!(lit(&panel), [(50, 16)], "the page pointer stayed at 2");
    commands(&mut panel, &[0x22, 0, 0]);
    data(&mut panel, &[0x01]);
    assert_eq!(lit(&panel), [(50, 0), (50, 16)], "the column pointer stayed at 50");
}

#[test]
fn page_addressing_stays_on_its_page() {
    let mut panel = ready(32);
    commands(&mut panel, &[0x20, 0x02, 0xb2, 0x0e, 0x17]);
    data(&mut panel, &[0x01, 0x01, 0x01]);
    assert_eq!(lit(&panel), [(126, 16), (127, 16)], "the third byte went to the start column again");
    assert_eq!(panel.complaints(), []);
}

#[test]
fn rotation_needs_remap_and_scan_direction() {
    let mut panel = ready(64);
    commands(&mut panel, &[0xa0, 0xc0]);
    data(&mut panel, &[0x01]);
    assert_eq!(lit(&panel), [(127, 63)]);
    commands(&mut panel, &[0xc8]);
    assert_eq!(lit(&panel), [(127, 0)], "the scan direction turns what is there");
    commands(&mut panel, &[0xa1]);
    assert_eq!(lit(&panel), [(127, 0)], "the remap is for later data");
}

#[test]
fn start_line_and_offset_move_the_picture() {
    let mut panel = ready(64);
    data(&mut panel, &[0x01]);
    commands(&mut panel, &[0x40 | 60]);
    assert_eq!(lit(&panel), [(0, 4)]);
    commands(&mut panel, &[0x40, 0xd3, 10]);
    assert_eq!(lit(&panel).len(), 1);
    assert_ne!(lit(&panel), [(0, 0)]);
    commands(&mut panel, &[0xd3, 0]);
    assert_eq!(lit(&panel), [(0, 0)]);
}

#[test]
fn inversion_and_all_on_leave_the_ram_alone() {
    let mut panel = ready(32);
    data(&mut panel, &[0x01]);
    commands(&mut panel, &[0xa7]);
    assert_eq!(lit(&panel).len(), 128 * 32 - 1);
    commands(&mut panel, &[0xa6, 0xa5]);
    assert_eq!(lit(&panel).len(), 128 * 32);
    commands(&mut panel, &[0xa4, 0x81, 3]);
    assert_eq!((lit(&panel), panel.contrast()), (vec![(0, 0)], 3));
    commands(&mut panel, &[0xae]);
    assert_eq!(lit(&panel), []);
}

#[test]
fn wrong_row_outputs_garble_the_rows() {
    let mut panel = ready(32);
    // A bar on the rows 0 to 7.
    data(&mut panel, &[0xff]);
    let good = lit(&panel);
    assert_eq!(good.len(), 8);
    commands(&mut panel, &[0xda, 0x12, 0xaf]);
    assert_ne!(lit(&panel), good);
    assert_eq!(panel.complaints(), [Complaint::ComPins(32)]);
    let mut panel = ready(64);
    data(&mut panel, &[0xff]);
    let good = lit(&panel);
    commands(&mut panel, &[0xda, 0x02]);
    assert_ne!(lit(&panel), good);
}

#[test]
fn a_lower_multiplex_leaves_rows_dark() {
    let mut panel = ready(64);
    data(&mut panel, &[0xff; 1024]);
    assert_eq!(lit(&panel).len(), 128 * 64);
    commands(&mut panel, &[0xa8, 31, 0xaf]);
    assert_eq!(lit(&panel).len(), 128 * 32);
    assert_eq!(panel.complaints(), [Complaint::Multiplex { rows: 32, glass: 64 }]);
}

#[test]
fn pairs_and_split_commands_are_read_as_runs() {
    let mut panel = ready(32);
    panel.write(ADDRESS, &[0x80, 0x21, 0x80, 5, 0x80, 9, 0xc0, 0x01, 0x40, 0x02, 0x04]).unwrap();
    assert_eq!(lit(&panel), [(5, 0), (6, 1), (7, 2)]);
    panel.write(ADDRESS, &[0x00, 0x21, 20]).unwrap();
    panel.write(ADDRESS, &[0x00, 21]).unwrap();
    data(&mut panel, &[0x80]);
    assert!(lit(&panel).contains(&(20, 7)));
    assert_eq!(panel.complaints(), []);
}

#[test]
fn what_a_controller_does_not_take_is_complained_about() {
    let complaints = |write: &[u8]| {
        let mut panel = ready(32);
        panel.write(ADDRESS, write).unwrap();
        panel.complaints().to_vec()
    };
    let unknown = DecodeError::Unknown { code: 0xff, controller: Controller::Ssd1306 };
    assert_eq!(complaints(&[0x00, 0xff]), [unknown.into()]);
    let argument = DecodeError::Argument { code: 0x20, argument: 3 };
    assert_eq!(complaints(&[0x00, 0x20, 0x03]), [argument.into()]);
    assert_eq!(complaints(&[0x00, 0x21, 5, 4]), [Complaint::Window { first: 5, last: 4, limit: 127 }]);
    assert_eq!(complaints(&[0x00, 0x21, 0, 128]), [Complaint::Window { first: 0, last: 128, limit: 127 }]);
    assert_eq!(complaints(&[0x00, 0x22, 0, 8]), [Complaint::Window { first: 0, last: 8, limit: 7 }]);
    assert_eq!(complaints(&[0x80, 0x21, 0x40, 0x00]), [Complaint::CutOff(0x21)]);
    assert_eq!(complaints(&[0x00, 0xb0]), [Complaint::WrongMode(0xb0)]);
    assert_eq!(complaints(&[0x00, 0x20, 0x02, 0x21, 0, 9]), [Complaint::WrongMode(0x21)]);
    assert_eq!(complaints(&[0x01, 0xe3]), [Complaint::ControlByte(0x01)]);
    assert_eq!(complaints(&[0x40]), [Complaint::NothingFollows(0x40)]);
    assert_eq!(complaints(&[0x00, 0x26, 0, 0, 0, 3, 0, 0xff, 0x2f, 0x2e]), [], "scroll commands are taken");
    assert_eq!(complaints(&[0x80, 0x2f, 0xc0, 0x00]), [Complaint::Scrolling]);
}

#[test]
fn another_address_is_not_acknowledged() {
    let mut panel = ready(32);
    let before = panel.traffic();
    let answer = panel.write(0x3d, &[0x00, 0xae]);
    assert_eq!(answer, Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)));
    assert_eq!(panel.complaints(), [Complaint::Address(0x3d)]);
    assert_eq!(panel.traffic(), before);
}

#[test]
fn status_tells_whether_the_display_is_on() {
    let mut panel = ready(32);
    let mut status = [0xa5];
    panel.read(ADDRESS, &mut status).unwrap();
    assert_eq!(status, [0x00]);
    commands(&mut panel, &[0xae]);
    panel.read(ADDRESS, &mut status).unwrap();
    assert_eq!(status, [0x40]);
}

#[test]
fn complaints_are_bounded() {
    let mut panel = ready(32);
    for _ in 0..1000 {
        commands(&mut panel, &[0xff]);
    }
    assert_eq!(panel.complaints().len(), EmulatedPanel::COMPLAINTS);
    assert_eq!(panel.complaints_dropped(), 1000 - EmulatedPanel::COMPLAINTS as u64);
}

#[test]
fn an_sh1106_shows_its_columns_from_the_third_on() {
    let mut panel = EmulatedPanel::new(Controller::Sh1106, Size::new(128, 64), ADDRESS, 1);
    commands(&mut panel, &[0xa1, 0xc8]);
    for page in 0..8 {
        commands(&mut panel, &[0xb0 | page, 0x00, 0x10]);
        data(&mut panel, &[0; 132]);
    }
    commands(&mut panel, &[0xaf, 0xb1, 0x02, 0x10]);
    data(&mut panel, &[0x01]);
    assert_eq!(lit(&panel), [(0, 8)]);
    commands(&mut panel, &[0xb0, 0x01, 0x18]);
    data(&mut panel, &[0x01, 0xff, 0xff, 0xff]);
    assert_eq!(lit(&panel), [(127, 0), (0, 8)], "columns 130 and 131 are behind the edge of the glass");
    assert_eq!(panel.complaints(), [Complaint::PageFull]);
    commands(&mut panel, &[0xad, 0x8a]);
    assert_eq!(lit(&panel), []);
}

proptest::proptest! {
    #[test]
    fn no_bytes_break_it(
        writes in proptest::collection::vec(proptest::collection::vec(proptest::prelude::any::<u8>(), 0..40), 0..20),
        sh in proptest::prelude::any::<bool>(),
    ) {
        let (controller, height) = if sh { (Controller::Sh1106, 64) } else { (Controller::Ssd1306, 32) };
        let mut panel = EmulatedPanel::new(controller, Size::new(128, height), ADDRESS, 3);
        for write in &writes {
            panel.write(ADDRESS, write).unwrap();
        }
        panel.glass();
        proptest::prop_assert!(panel.complaints().len() <= EmulatedPanel::COMPLAINTS);
        let bytes: u64 = writes.iter().map(|write| 1 + write.len() as u64).sum();
        proptest::prop_assert_eq!(panel.traffic().bytes, bytes);
    }
}
