//! The command sets of the SSD1306 and the SH1106 as plain data.
//!
//! What enters is a [`Command`] and what leaves are its bytes, or the other way round; what can be built can be sent, and
//! what was sent can be read back. No other file knows a command byte, and nothing here knows what a command does to a panel.
//!
//! Source: SSD1306 datasheet (Solomon Systech, rev. 1.1), section 9 and its table of commands, agreeing with the source of the
//! crate `ssd1306`; SH1106 datasheet (Sino Wealth), commands, from memory.

use std::ops::Deref;

use thiserror::Error;

use super::Controller;

/// One command to the controller, with its arguments.
///
/// Ranges are given in the wording of each command; [`Command::encode`] keeps the low bits that the command has room for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Command {
    /// The low nibble of the column, 0…15, in page addressing (0x00-0x0F).
    ColumnLow(u8),
    /// The high nibble of the column, 0…15, in page addressing (0x10-0x1F).
    ColumnHigh(u8),
    /// In which order data bytes fill the RAM (0x20; SSD1306 only).
    Addressing(Addressing),
    /// First and last column, 0…127, that data fills, and the column pointer to the first (0x21; SSD1306 only, not in page addressing).
    ColumnWindow {
        /// First column.
        first: u8,
        /// Last column, itself included.
        last: u8,
    },
    /// First and last page, 0…7, that data fills, and the page pointer to the first (0x22; SSD1306 only, not in page addressing).
    PageWindow {
        /// First page.
        first: u8,
        /// Last page, itself included.
        last: u8,
    },
    /// A scroll along the rows (0x26 to the right, 0x27 to the left; SSD1306 only).
    Scroll {
        /// To the left instead of to the right.
        left: bool,
        /// First page, 0…7.
        first: u8,
        /// Code of the interval between steps, 0…7 for 5, 64, 128, 256, 3, 4, 25, 2 frames.
        interval: u8,
        /// Last page, 0…7.
        last: u8,
    },
    /// A scroll along the rows and upwards at once (0x29 to the right, 0x2A to the left; SSD1306 only).
    DiagonalScroll {
        /// To the left instead of to the right.
        left: bool,
        /// First page, 0…7.
        first: u8,
        /// Code of the interval between steps, as for [`Command::Scroll`].
        interval: u8,
        /// Last page, 0…7.
        last: u8,
        /// Rows a step, 0…63.
        rows: u8,
    },
    /// Which rows a diagonal scroll moves (0xA3; SSD1306 only).
    ScrollArea {
        /// Rows on top that stand still, 0…63.
        fixed: u8,
        /// Rows that move, 0…127 (more than the panel has is the reset value, 64).
        rows: u8,
    },
    /// Scrolling off or on (0x2E, 0x2F; SSD1306 only).
    Scrolling(bool),
    /// Which row of the RAM is shown on top, 0…63 (0x40-0x7F).
    StartLine(u8),
    /// Current of the segments, 0…255 (0x81; 0x7F after reset on the SSD1306, 0x80 on the SH1106).
    Contrast(u8),
    /// The pump that makes the panel's supply, on or off (0x8D with 0x14 or 0x10; SSD1306 only).
    ChargePump(bool),
    /// The supply of the panel, on or off (0xAD with 0x8B or 0x8A; SH1106 only).
    Converter(bool),
    /// Step of the pump's voltage, 0…3 for 6.4, 7.4, 8.0, 9.0 V (0x30-0x33; SH1106 only).
    PumpVoltage(u8),
    /// Whether column 0 belongs to the last segment (0xA1) or to the first (0xA0).
    SegmentRemap(bool),
    /// Every pixel lit whatever the RAM holds (0xA5), or the RAM followed (0xA4).
    AllOn(bool),
    /// A zero in RAM is lit (0xA7), or a one is (0xA6).
    Inverted(bool),
    /// Rows that are driven less one, 15…63 (0xA8).
    Multiplex(u8),
    /// Panel off, which is sleep, or on (0xAE, 0xAF).
    Display(bool),
    /// The page, 0…7, in page addressing (0xB0-0xB7).
    Page(u8),
    /// Rows scanned from the last to the first (0xC8), or from the first to the last (0xC0).
    ScanReversed(bool),
    /// By how many rows the picture is moved along the row outputs, 0…63 (0xD3).
    Offset(u8),
    /// Oscillator setting and divider less one, 0…15 each (0xD5).
    Clock {
        /// Frequency step of the oscillator.
        oscillator: u8,
        /// Clock divider less one.
        divider: u8,
    },
    /// Length of the two phases before a row is lit, in clocks, 0…15 each (0xD9).
    Precharge {
        /// Discharge of the row before.
        discharge: u8,
        /// Charge of the row to come.
        charge: u8,
    },
    /// How the row outputs are wired to the glass (0xDA).
    ComPins {
        /// Rows alternate between the two sides of the chip (64 rows) instead of following one another (32 rows).
        alternative: bool,
        /// The two sides are swapped.
        swapped: bool,
    },
    /// Level of the rows that are not driven, as the datasheet's byte (0xDB).
    Deselect(u8),
    /// Nothing (0xE3).
    NoOp,
}

/// In which order data bytes fill the RAM.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Addressing {
    /// Along the page, then on the next page of the window.
    Horizontal,
    /// Down the pages of the window, then on the next column.
    Vertical,
    /// Along one page only.
    Page,
}

/// The bytes of one command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Encoded {
    bytes: [u8; Command::LONGEST],
    length: u8,
}

impl Encoded {
    fn new(bytes: &[u8]) -> Self {
        let mut encoded = Self { bytes: [0; Command::LONGEST], length: bytes.len() as u8 };
        encoded.bytes[..bytes.len()].copy_from_slice(bytes);
        encoded
    }
}

impl Deref for Encoded {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.bytes[..usize::from(self.length)]
    }
}

/// Why bytes are no command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum DecodeError {
    /// More bytes are needed.
    #[error("command {code:#04x} ends after {given} of its {wanted} bytes")]
    Truncated {
        /// First byte of the command; 0x00 if there is none.
        code: u8,
        /// Bytes that are there.
        given: usize,
        /// Bytes that the command has.
        wanted: usize,
    },
    /// The controller has no such command.
    #[error("command {code:#04x} is unknown to the {controller}")]
    Unknown {
        /// First byte.
        code: u8,
        /// Whose command set was asked.
        controller: Controller,
    },
    /// An argument that the datasheet does not define.
    #[error("command {code:#04x} does not take the argument {argument:#04x}")]
    Argument {
        /// First byte.
        code: u8,
        /// The argument that is not defined.
        argument: u8,
    },
}

impl Command {
    /// Bytes of the longest command.
    pub const LONGEST: usize = 7;

    /// The bytes of the command.
    pub fn encode(&self) -> Encoded {
        let flag = |code: u8, on: bool| Encoded::new(&[code | u8::from(on)]);
        match *self {
            Command::ColumnLow(nibble) => Encoded::new(&[nibble & 0x0f]),
            Command::ColumnHigh(nibble) => Encoded::new(&[0x10 | (nibble & 0x0f)]),
            Command::Addressing(order) => {
                let code = match order {
                    Addressing::Horizontal => 0,
                    Addressing::Vertical => 1,
                    Addressing::Page => 2,
                };
                Encoded::new(&[0x20, code])
            }
            Command::ColumnWindow { first, last } => Encoded::new(&[0x21, first & 0x7f, last & 0x7f]),
            Command::PageWindow { first, last } => Encoded::new(&[0x22, first & 7, last & 7]),
            Command::Scroll { left, first, interval, last } => {
                Encoded::new(&[0x26 | u8::from(left), 0, first & 7, interval & 7, last & 7, 0, 0xff])
            }
            Command::DiagonalScroll { left, first, interval, last, rows } => {
                let code = if left { 0x2a } else { 0x29 };
                Encoded::new(&[code, 0, first & 7, interval & 7, last & 7, rows & 0x3f])
            }
            Command::ScrollArea { fixed, rows } => Encoded::new(&[0xa3, fixed & 0x3f, rows & 0x7f]),
            Command::Scrolling(on) => flag(0x2e, on),
            Command::StartLine(row) => Encoded::new(&[0x40 | (row & 0x3f)]),
            Command::Contrast(level) => Encoded::new(&[0x81, level]),
            Command::ChargePump(on) => Encoded::new(&[0x8d, if on { 0x14 } else { 0x10 }]),
            Command::Converter(on) => Encoded::new(&[0xad, 0x8a | u8::from(on)]),
            Command::PumpVoltage(step) => Encoded::new(&[0x30 | (step & 3)]),
            Command::SegmentRemap(on) => flag(0xa0, on),
            Command::AllOn(on) => flag(0xa4, on),
            Command::Inverted(on) => flag(0xa6, on),
            Command::Multiplex(rows) => Encoded::new(&[0xa8, rows & 0x3f]),
            Command::Display(on) => flag(0xae, on),
            Command::Page(page) => Encoded::new(&[0xb0 | (page & 7)]),
            Command::ScanReversed(on) => Encoded::new(&[if on { 0xc8 } else { 0xc0 }]),
            Command::Offset(rows) => Encoded::new(&[0xd3, rows & 0x3f]),
            Command::Clock { oscillator, divider } => Encoded::new(&[0xd5, oscillator << 4 | (divider & 0x0f)]),
            Command::Precharge { discharge, charge } => Encoded::new(&[0xd9, charge << 4 | (discharge & 0x0f)]),
            Command::ComPins { alternative, swapped } => {
                Encoded::new(&[0xda, 0x02 | u8::from(alternative) << 4 | u8::from(swapped) << 5])
            }
            Command::Deselect(level) => Encoded::new(&[0xdb, level]),
            Command::NoOp => Encoded::new(&[0xe3]),
        }
    }

    /// Reads the command that `bytes` begin with, and says how many bytes it took.
    ///
    /// Bits that a controller does not look at (the dummy bytes of scroll commands, the unused high bits of a window) are
    /// dropped where the datasheet gives them no meaning; a window beyond the RAM is kept, for the reader to judge.
    pub fn decode(controller: Controller, bytes: &[u8]) -> Result<(Command, usize), DecodeError> {
        let Some(&code) = bytes.first() else {
            return Err(DecodeError::Truncated { code: 0, given: 0, wanted: 1 });
        };
        let wanted = length(controller, code).ok_or(DecodeError::Unknown { code, controller })?;
        let Some(bytes) = bytes.get(..wanted) else {
            return Err(DecodeError::Truncated { code, given: bytes.len(), wanted });
        };
        // Zero stands in for arguments that the command does not have.
        let argument = |index: usize| bytes.get(index).copied().unwrap_or(0);
        let undefined = Err(DecodeError::Argument { code, argument: argument(1) });
        let command = match code {
            0x00..=0x0f => Command::ColumnLow(code),
            0x10..=0x1f => Command::ColumnHigh(code & 0x0f),
            0x20 => Command::Addressing(match argument(1) & 3 {
                0 => Addressing::Horizontal,
                1 => Addressing::Vertical,
                2 => Addressing::Page,
                _ => return undefined,
            }),
            0x21 => Command::ColumnWindow { first: argument(1), last: argument(2) },
            0x22 => Command::PageWindow { first: argument(1), last: argument(2) },
            0x26 | 0x27 => Command::Scroll {
                left: code & 1 == 1,
                first: argument(2) & 7,
                interval: argument(3) & 7,
                last: argument(4) & 7,
            },
            0x29 | 0x2a => Command::DiagonalScroll {
                left: code == 0x2a,
                first: argument(2) & 7,
                interval: argument(3) & 7,
                last: argument(4) & 7,
                rows: argument(5) & 0x3f,
            },
            0x2e | 0x2f => Command::Scrolling(code & 1 == 1),
            0x30..=0x33 => Command::PumpVoltage(code & 3),
            0x40..=0x7f => Command::StartLine(code & 0x3f),
            0x81 => Command::Contrast(argument(1)),
            0x8d => match argument(1) & 0x3f {
                0x14 => Command::ChargePump(true),
                0x10 => Command::ChargePump(false),
                _ => return undefined,
            },
            0xa0 | 0xa1 => Command::SegmentRemap(code & 1 == 1),
            0xa3 => Command::ScrollArea { fixed: argument(1) & 0x3f, rows: argument(2) & 0x7f },
            0xa4 | 0xa5 => Command::AllOn(code & 1 == 1),
            0xa6 | 0xa7 => Command::Inverted(code & 1 == 1),
            0xa8 => Command::Multiplex(argument(1) & 0x3f),
            0xad => match argument(1) {
                0x8a => Command::Converter(false),
                0x8b => Command::Converter(true),
                _ => return undefined,
            },
            0xae | 0xaf => Command::Display(code & 1 == 1),
            0xb0..=0xb7 => Command::Page(code & 7),
            // The SSD1306 looks at bit 3 alone; the other three are open.
            0xc0..=0xcf => Command::ScanReversed(code & 8 == 8),
            0xd3 => Command::Offset(argument(1) & 0x3f),
            0xd5 => Command::Clock { oscillator: argument(1) >> 4, divider: argument(1) & 0x0f },
            0xd9 => Command::Precharge { discharge: argument(1) & 0x0f, charge: argument(1) >> 4 },
            0xda => match argument(1) {
                pins @ (0x02 | 0x12 | 0x22 | 0x32) => {
                    Command::ComPins { alternative: pins & 0x10 != 0, swapped: pins & 0x20 != 0 }
                }
                _ => return undefined,
            },
            0xdb => Command::Deselect(argument(1)),
            0xe3 => Command::NoOp,
            _ => return Err(DecodeError::Unknown { code, controller }),
        };
        Ok((command, wanted))
    }
}

/// How many bytes the command with this first byte has, if the controller has such a command.
fn length(controller: Controller, code: u8) -> Option<usize> {
    let both = match code {
        0x00..=0x1f | 0x40..=0x7f | 0xa0 | 0xa1 | 0xa4..=0xa7 | 0xae | 0xaf | 0xb0..=0xb7 | 0xc0..=0xcf | 0xe3 => {
            Some(1)
        }
        0x81 | 0xa8 | 0xd3 | 0xd5 | 0xd9..=0xdb => Some(2),
        _ => None,
    };
    let own = match (controller, code) {
        (Controller::Ssd1306, 0x20 | 0x8d) => Some(2),
        (Controller::Ssd1306, 0x21 | 0x22 | 0xa3) => Some(3),
        (Controller::Ssd1306, 0x26 | 0x27) => Some(7),
        (Controller::Ssd1306, 0x29 | 0x2a) => Some(6),
        (Controller::Ssd1306, 0x2e | 0x2f) => Some(1),
        (Controller::Sh1106, 0x30..=0x33) => Some(1),
        (Controller::Sh1106, 0xad) => Some(2),
        _ => None,
    };
    both.or(own)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn common() -> impl Strategy<Value = Command> {
        prop_oneof![
            (0..16u8).prop_map(Command::ColumnLow),
            (0..16u8).prop_map(Command::ColumnHigh),
            (0..64u8).prop_map(Command::StartLine),
            any::<u8>().prop_map(Command::Contrast),
            any::<bool>().prop_map(Command::SegmentRemap),
            any::<bool>().prop_map(Command::AllOn),
            any::<bool>().prop_map(Command::Inverted),
            (0..64u8).prop_map(Command::Multiplex),
            any::<bool>().prop_map(Command::Display),
            (0..8u8).prop_map(Command::Page),
            any::<bool>().prop_map(Command::ScanReversed),
            (0..64u8).prop_map(Command::Offset),
            (0..16u8, 0..16u8).prop_map(|(oscillator, divider)| Command::Clock { oscillator, divider }),
            (0..16u8, 0..16u8).prop_map(|(discharge, charge)| Command::Precharge { discharge, charge }),
            (any::<bool>(), any::<bool>()).prop_map(|(alternative, swapped)| Command::ComPins { alternative, swapped }),
            any::<u8>().prop_map(Command::Deselect),
            Just(Command::NoOp),
        ]
    }

    fn ssd1306() -> impl Strategy<Value = Command> {
        let addressing = prop_oneof![Just(Addressing::Horizontal), Just(Addressing::Vertical), Just(Addressing::Page)];
        prop_oneof![
            4 => common(),
            1 => addressing.prop_map(Command::Addressing),
            1 => (0..128u8, 0..128u8).prop_map(|(first, last)| Command::ColumnWindow { first, last }),
            1 => (0..8u8, 0..8u8).prop_map(|(first, last)| Command::PageWindow { first, last }),
            1 => (any::<bool>(), 0..8u8, 0..8u8, 0..8u8)
                .prop_map(|(left, first, interval, last)| Command::Scroll { left, first, interval, last }),
            1 => (any::<bool>(), 0..8u8, 0..8u8, 0..8u8, 0..64u8).prop_map(|(left, first, interval, last, rows)| {
                Command::DiagonalScroll { left, first, interval, last, rows }
            }),
            1 => (0..64u8, 0..128u8).prop_map(|(fixed, rows)| Command::ScrollArea { fixed, rows }),
            1 => any::<bool>().prop_map(Command::Scrolling),
            1 => any::<bool>().prop_map(Command::ChargePump),
        ]
    }

    fn sh1106() -> impl Strategy<Value = Command> {
        prop_oneof![
            4 => common(),
            1 => any::<bool>().prop_map(Command::Converter),
            1 => (0..4u8).prop_map(Command::PumpVoltage),
        ]
    }

    fn dialect() -> impl Strategy<Value = (Controller, Vec<Command>)> {
        prop_oneof![
            prop::collection::vec(ssd1306(), 0..20).prop_map(|commands| (Controller::Ssd1306, commands)),
            prop::collection::vec(sh1106(), 0..20).prop_map(|commands| (Controller::Sh1106, commands)),
        ]
    }

    proptest! {
        #[test]
        fn a_stream_of_commands_reads_back_as_it_was_built((controller, commands) in dialect()) {
            let bytes: Vec<u8> = commands.iter().flat_map(|command| command.encode().to_vec()).collect();
            let mut rest = &bytes[..];
            let mut read = Vec::new();
            while !rest.is_empty() {
                let (command, used) = Command::decode(controller, rest).expect("what was built can be read");
                read.push(command);
                rest = &rest[used..];
            }
            prop_assert_eq!(read, commands);
        }

        #[test]
        fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..10), sh in any::<bool>()) {
            let controller = if sh { Controller::Sh1106 } else { Controller::Ssd1306 };
            if let Ok((_, used)) = Command::decode(controller, &bytes) {
                prop_assert!(used >= 1 && used <= bytes.len());
            }
        }

        #[test]
        fn a_cut_command_asks_for_the_rest((controller, commands) in dialect()) {
            for command in commands {
                let bytes = command.encode();
                for given in 0..bytes.len() {
                    let error = Command::decode(controller, &bytes[..given]).expect_err("cut");
                    let wanted = bytes.len();
                    let code = if given == 0 { 0 } else { bytes[0] };
                    let wanted = if given == 0 { 1 } else { wanted };
                    prop_assert_eq!(error, DecodeError::Truncated { code, given, wanted });
                }
            }
        }
    }

    /// SSD1306 datasheet rev. 1.1, table 9-1, and crate `ssd1306` 0.10; SH1106 from memory.
    #[test]
    fn codes_are_those_of_the_datasheet() {
        let cases: &[(Command, &[u8])] = &[
            (Command::ColumnLow(5), &[0x05]),
            (Command::ColumnHigh(7), &[0x17]),
            (Command::Addressing(Addressing::Horizontal), &[0x20, 0x00]),
            (Command::Addressing(Addressing::Vertical), &[0x20, 0x01]),
            (Command::Addressing(Addressing::Page), &[0x20, 0x02]),
            (Command::ColumnWindow { first: 3, last: 127 }, &[0x21, 3, 127]),
            (Command::PageWindow { first: 1, last: 7 }, &[0x22, 1, 7]),
            (Command::Scroll { left: false, first: 0, interval: 7, last: 3 }, &[0x26, 0, 0, 7, 3, 0, 0xff]),
            (Command::Scroll { left: true, first: 0, interval: 7, last: 3 }, &[0x27, 0, 0, 7, 3, 0, 0xff]),
            (Command::DiagonalScroll { left: true, first: 1, interval: 2, last: 3, rows: 4 }, &[0x2a, 0, 1, 2, 3, 4]),
            (Command::Scrolling(false), &[0x2e]),
            (Command::Scrolling(true), &[0x2f]),
            (Command::StartLine(63), &[0x7f]),
            (Command::Contrast(0x7f), &[0x81, 0x7f]),
            (Command::ChargePump(true), &[0x8d, 0x14]),
            (Command::ChargePump(false), &[0x8d, 0x10]),
            (Command::SegmentRemap(true), &[0xa1]),
            (Command::AllOn(true), &[0xa5]),
            (Command::Inverted(true), &[0xa7]),
            (Command::Multiplex(31), &[0xa8, 31]),
            (Command::Display(true), &[0xaf]),
            (Command::Page(7), &[0xb7]),
            (Command::ScanReversed(true), &[0xc8]),
            (Command::Offset(2), &[0xd3, 2]),
            (Command::Clock { oscillator: 8, divider: 0 }, &[0xd5, 0x80]),
            (Command::Precharge { discharge: 2, charge: 2 }, &[0xd9, 0x22]),
            (Command::ComPins { alternative: true, swapped: false }, &[0xda, 0x12]),
            (Command::ComPins { alternative: false, swapped: false }, &[0xda, 0x02]),
            (Command::Deselect(0x20), &[0xdb, 0x20]),
            (Command::NoOp, &[0xe3]),
            (Command::Converter(true), &[0xad, 0x8b]),
            (Command::Converter(false), &[0xad, 0x8a]),
            (Command::PumpVoltage(2), &[0x32]),
        ];
        for (command, bytes) in cases {
            assert_eq!(&*command.encode(), *bytes, "{command:?}");
        }
    }

    #[test]
    fn each_controller_refuses_what_only_the_other_has() {
        for code in [0x20, 0x21, 0x22, 0x26, 0x2f, 0x8d] {
            let refusal = Command::decode(Controller::Sh1106, &[code, 0, 0, 0, 0, 0, 0]);
            assert_eq!(refusal, Err(DecodeError::Unknown { code, controller: Controller::Sh1106 }));
        }
        for code in [0x30, 0xad] {
            let refusal = Command::decode(Controller::Ssd1306, &[code, 0x8b]);
            assert_eq!(refusal, Err(DecodeError::Unknown { code, controller: Controller::Ssd1306 }));
        }
    }
}
