//! Digests, by which long texts are told apart without being kept.

/// The SHA-256 of a text in hexadecimal digits, as `sha256sum` prints it.
pub fn digest(text: impl AsRef<[u8]>) -> String {
    let digest = ring::digest::digest(&ring::digest::SHA256, text.as_ref());
    digest.as_ref().iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example for a message of one block, from memory.
    #[test]
    fn digests_are_those_of_the_standard() {
        assert_eq!(digest("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
