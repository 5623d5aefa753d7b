//! From commands and data to I2C writes, with the fewest bytes.
//!
//! What enters is a script: commands and data in the order in which the controller shall see them. What leaves are the
//! payloads of I2C writes, each with its control bytes. Nothing here knows what the commands do.
//!
//! # The cost of a write
//!
//! A write is the address byte and then either pairs (a control byte with the continuation bit, and one byte) or, as its last
//! part, a run (a control byte without it, and all that follows). Control bytes: SSD1306 datasheet rev. 1.1, section 8.1.5.2.
//! A block of `n` bytes of one kind, commands or data, therefore costs `2 + n` bytes as a run of its own. As a pair, a single
//! byte costs `3` and leaves the write open, so that the next block needs no address byte and costs `1 + n`. Longer blocks gain
//! nothing from pairs: two bytes in pairs cost one byte more than as a run, which is what the next block would save. So the
//! least for a script is the sum of `2 + n` over its blocks, less one for each block of a single byte that is not the last.

use super::Command;

/// Control byte: the rest of the write is commands.
const COMMANDS: u8 = 0x00;
/// Control byte: the rest of the write is data; its bit tells data from commands.
pub(super) const DATA: u8 = 0x40;
/// In a control byte: one byte follows, then another control byte.
pub(super) const PAIR: u8 = 0x80;

/// What went over the bus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Writes, each from start to stop condition.
    pub transactions: u64,
    /// Bytes, address bytes included.
    pub bytes: u64,
}

impl Traffic {
    /// Bits on the bus: nine a byte with its acknowledge, and one each for start and stop.
    pub const fn bits(&self) -> u64 {
        self.bytes * 9 + self.transactions * 2
    }

    /// Adds what went over the bus later.
    pub fn add(&mut self, later: Traffic) {
        self.transactions += later.transactions;
        self.bytes += later.bytes;
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Commands,
    Data,
}

#[derive(Clone, Copy, Debug)]
struct Block {
    kind: Kind,
    /// End of the block in the bytes of the script; it begins where the one before ends.
    end: usize,
}

/// Commands and data in the order in which the controller shall see them.
#[derive(Clone, Debug, Default)]
pub struct Script {
    bytes: Vec<u8>,
    blocks: Vec<Block>,
}

impl Script {
    /// Forgets everything but keeps the memory.
    pub fn clear(&mut self) {
        self.bytes.clear();
        self.blocks.clear();
    }

    /// Adds a command.
    pub fn command(&mut self, command: Command) {
        self.bytes.extend_from_slice(&command.encode());
        self.extend_block(Kind::Commands);
    }

    /// Adds a byte for the RAM.
    pub fn data(&mut self, byte: u8) {
        self.bytes.push(byte);
        self.extend_block(Kind::Data);
    }

    fn extend_block(&mut self, kind: Kind) {
        let end = self.bytes.len();
        match self.blocks.last_mut() {
            Some(block) if block.kind == kind => block.end = end,
            _ => self.blocks.push(Block { kind, end }),
        }
    }

    /// How many bytes of commands and data there are, without address and control bytes.
    pub fn len(&self) -> usize {
        self.bytes.len()
    }

    /// Whether there is nothing to send.
    pub fn is_empty(&self) -> bool {
        self.bytes.is_empty()
    }

    /// Hands each write to `send`, without its address byte and at most `longest` bytes long.
    ///
    /// `buffer` is scratch memory. Ends at the first failure. A write is cut between commands only as long as no block of commands
    /// is longer than `longest - 1`.
    pub fn transmit<E>(
        &self,
        longest: usize,
        buffer: &mut Vec<u8>,
        mut send: impl FnMut(&[u8]) -> Result<(), E>,
    ) -> Result<Traffic, E> {
        let mut traffic = Traffic::default();
        let mut flush = |buffer: &mut Vec<u8>| {
            send(buffer)?;
            traffic.transactions += 1;
            traffic.bytes += 1 + buffer.len() as u64;
            buffer.clear();
            Ok(())
        };
        buffer.clear();
        let mut start = 0;
        for (index, block) in self.blocks.iter().enumerate() {
            let mut bytes = &self.bytes[start..block.end];
            start = block.end;
            let control = match block.kind {
                Kind::Commands => COMMANDS,
                Kind::Data => DATA,
            };
            let needed = match (block.kind, bytes.len()) {
                (Kind::Commands, length) => 1 + length,
                (Kind::Data, _) => 2,
            };
            if !buffer.is_empty() && buffer.len() + needed > longest {
                flush(buffer)?;
            }
            if let ([byte], true) = (bytes, index + 1 < self.blocks.len()) {
                buffer.extend([control | PAIR, *byte]);
                continue;
            }
            while !bytes.is_empty() {
                let room = longest.saturating_sub(buffer.len() + 1).max(1);
                let (now, later) = bytes.split_at(room.min(bytes.len()));
                buffer.push(control);
                buffer.extend_from_slice(now);
                flush(buffer)?;
                bytes = later;
            }
        }
        Ok(traffic)
    }

    /// What sending would put on the bus if writes may be of any length.
    pub fn traffic(&self) -> Traffic {
        let mut buffer = Vec::new();
        match self.transmit(usize::MAX, &mut buffer, |_| Ok::<(), std::convert::Infallible>(())) {
            Ok(traffic) => traffic,
            Err(never) => match never {},
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What a controller makes of a payload: kind and byte, in order.
    fn unpack(payload: &[u8]) -> Vec<(bool, u8)> {
        let mut seen = Vec::new();
        let mut at = 0;
        while at < payload.len() {
            let control = payload[at];
            assert_eq!(control & 0x3f, 0, "the low bits of a control byte are zero");
            let data = control & 0x40 != 0;
            if control & 0x80 != 0 {
                seen.push((data, payload[at + 1]));
                at += 2;
            } else {
                assert!(at + 1 < payload.len(), "a run holds a byte");
                seen.extend(payload[at + 1..].iter().map(|byte| (data, *byte)));
                at = payload.len();
            }
        }
        seen
    }

    /// The least number of bytes for a list of bytes of known kind, trying each way to send each byte.
    fn least(kinds: &[bool]) -> u64 {
        const FAR: u64 = u64::MAX / 2;
        // Costs so far with no write begun, a write open after pairs, within a run of commands, within a run of data.
        let (mut idle, mut open, mut run) = (0, FAR, [FAR, FAR]);
        for &kind in kinds {
            let kind = usize::from(kind);
            let next_open = (idle + 3).min(open + 2);
            let mut next_run = [FAR, FAR];
            next_run[kind] = (idle + 3).min(open + 2).min(run[kind] + 1);
            (open, run) = (next_open, next_run);
            idle = open.min(run[0]).min(run[1]);
        }
        idle
    }

    fn script(blocks: &[(bool, usize)]) -> (Script, Vec<(bool, u8)>) {
        let (mut script, mut wanted) = (Script::default(), Vec::new());
        for &(data, length) in blocks {
            for index in 0..length {
                if data {
                    script.data(index as u8);
                    wanted.push((true, index as u8));
                } else {
                    script.command(Command::NoOp);
                    wanted.push((false, 0xe3));
                }
            }
        }
        (script, wanted)
    }

    proptest! {
        #[test]
        fn a_script_is_sent_with_the_fewest_bytes(
            blocks in prop::collection::vec((any::<bool>(), 1..6usize), 0..12)
        ) {
            let (script, wanted) = script(&blocks);
            let mut seen = Vec::new();
            let traffic = script
                .transmit(usize::MAX, &mut Vec::new(), |payload| {
                    seen.extend(unpack(payload));
                    Ok::<(), ()>(())
                })
                .unwrap();
            prop_assert_eq!(&seen, &wanted);
            let kinds: Vec<bool> = wanted.iter().map(|(data, _)| *data).collect();
            prop_assert_eq!(traffic.bytes, least(&kinds));
            prop_assert_eq!(traffic, script.traffic());
        }

        #[test]
        fn no_write_is_longer_than_allowed(
            blocks in prop::collection::vec((any::<bool>(), 1..60usize), 0..8),
            longest in Setup::SHORTEST_WRITE..40,
        ) {
            // The planner's blocks of commands have at most six bytes.
            let blocks: Vec<(bool, usize)> =
                blocks.iter().map(|(data, length)| (*data, if *data { *length } else { 1 + length % 6 })).collect();
            let (script, wanted) = script(&blocks);
            let mut seen = Vec::new();
            script
                .transmit(longest, &mut Vec::new(), |payload| {
                    assert!(payload.len() <= longest && payload.len() >= 2);
                    seen.extend(unpack(payload));
                    Ok::<(), ()>(())
                })
                .unwrap();
            prop_assert_eq!(seen, wanted);
        }
    }

    use crate::panel::Setup;

    #[test]
    fn a_failure_ends_the_script() {
        let (script, _) = script(&[(false, 3), (true, 5), (false, 3), (true, 5)]);
        let mut writes = 0;
        let result = script.transmit(usize::MAX, &mut Vec::new(), |_| {
            writes += 1;
            if writes == 2 { Err("gone") } else { Ok(()) }
        });
        assert_eq!((result, writes), (Err("gone"), 2));
    }

    /// checks.md: a full frame with its window commands is 4,702 bits at 128x32 and 9,310 at 128x64, in two writes.
    #[test]
    fn bits_of_a_full_frame() {
        for (pages, bits) in [(4, 4_702), (8, 9_310)] {
            let mut script = Script::default();
            script.command(Command::ColumnWindow { first: 0, last: 127 });
            script.command(Command::PageWindow { first: 0, last: pages - 1 });
            (0..u32::from(pages) * 128).for_each(|_| script.data(0));
            assert_eq!(script.traffic().bits(), bits);
        }
    }
}
