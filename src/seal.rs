//! A seal on bytes that outlive the program in a file: what they are, in which version of their form, and that they are whole.
//!
//! What enters are bytes; what leaves are the same behind a magic word (8 bytes), the version, their length, and the CRC-32 of version,
//! length and bytes (4 bytes each, little-endian). On the way back no byte is believed before the checksum was. No file is touched here.

/// How many bytes a seal has.
pub const BYTES: usize = 8 + 4 + 4 + 4;

/// What the bytes are, and in which version of their form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seal {
    /// What they begin with, which nothing else does.
    pub magic: [u8; 8],
    /// Grows with each change of the form.
    pub version: u32,
}

/// Why a seal does not open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SealError {
    /// The bytes are something else.
    Foreign,
    /// They have another version.
    Version(u32),
    /// Cut short, continued, changed, or blank: what a lost supply leaves behind is a file without anything in it.
    Damaged,
}

impl Seal {
    /// The bytes, sealed.
    pub fn close(&self, bytes: &[u8]) -> Vec<u8> {
        let about = [self.version.to_le_bytes(), (bytes.len() as u32).to_le_bytes()].concat();
        [&self.magic[..], &about, &checksum(&about, bytes).to_le_bytes(), bytes].concat()
    }

    /// What was sealed.
    ///
    /// # Errors
    /// [`SealError`] unless they are these bytes, whole.
    pub fn open<'a>(&self, sealed: &'a [u8]) -> Result<&'a [u8], SealError> {
        let Some(after) = sealed.strip_prefix(&self.magic) else {
            let is_blank = sealed.iter().all(|byte| *byte == 0);
            return Err(if is_blank { SealError::Damaged } else { SealError::Foreign });
        };
        let (about, rest) = after.split_first_chunk::<8>().ok_or(SealError::Damaged)?;
        let [a, b, c, d, e, f, g, h] = *about;
        let (version, length) = (u32::from_le_bytes([a, b, c, d]), u32::from_le_bytes([e, f, g, h]));
        if version != self.version {
            return Err(SealError::Version(version));
        }
        let (sum, bytes) = rest.split_first_chunk::<4>().ok_or(SealError::Damaged)?;
        let is_whole = u32::try_from(bytes.len()) == Ok(length) && u32::from_le_bytes(*sum) == checksum(about, bytes);
        if is_whole { Ok(bytes) } else { Err(SealError::Damaged) }
    }
}

fn checksum(about: &[u8], bytes: &[u8]) -> u32 {
    let mut sum = crc32fast::Hasher::new();
    sum.update(about);
    sum.update(bytes);
    sum.finalize()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SEAL: Seal = Seal { magic: *b"sl-test\n", version: 3 };

    #[test]
    fn damage_at_any_byte_and_a_cut_at_any_length_are_seen() {
        let sealed = SEAL.close(b"twelve point four");
        assert_eq!((SEAL.open(&sealed), sealed.len()), (Ok(&b"twelve point four"[..]), BYTES + 17));
        for place in 0..sealed.len() {
            for change in 1..=255 {
                let mut damaged = sealed.clone();
                damaged[place] ^= change;
                let version = u32::from_le_bytes([damaged[8], damaged[9], damaged[10], damaged[11]]);
                let expected = match place {
                    0..8 => SealError::Foreign,
                    8..12 => SealError::Version(version),
                    _ => SealError::Damaged,
                };
                assert_eq!(SEAL.open(&damaged), Err(expected), "byte {place}");
            }
        }
        for length in 0..sealed.len() {
            let expected = if (1..8).contains(&length) { SealError::Foreign } else { SealError::Damaged };
            assert_eq!(SEAL.open(&sealed[..length]), Err(expected), "{length} bytes");
        }
        assert_eq!(SEAL.open(&[&sealed[..], b"\0"].concat()), Err(SealError::Damaged));
    }

    #[test]
    fn a_blank_file_is_damaged_and_nobody_elses() {
        assert_eq!([SEAL.open(b""), SEAL.open(&[0; 300])], [Err(SealError::Damaged); 2]);
    }
}
