//! Random words that nobody guesses, and their comparison.

/// Bytes of randomness: 192 bits.
const BYTES: usize = 24;

/// A new secret from the system's random source, as hexadecimal digits.
///
/// # Errors
/// The system's, where it has no random source.
pub(super) fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0u8; BYTES];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Whether two words are equal, in a time that does not tell where they differ.
pub(super) fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |acc, (a, b)| acc | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_differ_and_are_long() {
        let (a, b) = (secret().unwrap(), secret().unwrap());
        assert!(a != b && a.len() == 48 && a.bytes().all(|b| b.is_ascii_hexdigit()));
        assert!(same(&a, &a.clone()) && !same(&a, &b) && !same(&a, &a[1..]) && !same("", &a));
    }
}
