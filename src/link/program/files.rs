//! Memory contents as files: Intel HEX.

/// Reads Intel HEX with 16-bit addresses and extended segment or linear addresses: addresses and
/// bytes in the order of the file. Nothing may lie at or beyond `limit`.
///
/// Record types and checksum: Intel, "Hexadecimal Object File Format Specification", revision A,
/// 1988.
///
/// # Errors
/// What is wrong, with the line.
pub(super) fn intel_hex(text: &str, limit: u32) -> Result<Vec<(u32, Vec<u8>)>, String> {
    let mut parts: Vec<(u32, Vec<u8>)> = Vec::new();
    let mut base: u32 = 0;
    for (index, line) in text.lines().enumerate() {
        let number = index + 1;
        let line = line.trim();
        if line.is_empty() {
            continue;
        }
        let wrong = |why: &str| format!("line {number}: {why}");
        let digits = line
            .strip_prefix(':')
            .ok_or_else(|| wrong("a record begins with `:`"))?;
        let bytes = bytes_of(digits).ok_or_else(|| wrong("it is not pairs of hex digits"))?;
        let [count, high, low, kind, rest @ ..] = bytes.as_slice() else {
            return Err(wrong("the record is cut short"));
        };
        let [data @ .., _] = rest else {
            return Err(wrong("the record is cut short"));
        };
        if data.len() != usize::from(*count) {
            return Err(wrong("the record is not as long as it says"));
        }
        if bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte)) != 0 {
            return Err(wrong("the checksum is wrong"));
        }
        match (kind, data) {
            (0, data) => {
                let address = base.saturating_add(u32::from(u16::from_be_bytes([*high, *low])));
                let end = u64::from(address) + data.len() as u64;
                if end > u64::from(limit) {
                    return Err(wrong(&format!(
                        "address {address:#x} lies beyond the memory of {limit} bytes"
                    )));
                }
                match parts.last_mut() {
                    Some((start, known)) if *start + known.len() as u32 == address => {
                        known.extend_from_slice(data);
                    }
                    _ => parts.push((address, data.to_vec())),
                }
            }
            (1, []) => return Ok(parts),
            (2, [high, low]) => base = u32::from(u16::from_be_bytes([*high, *low])) << 4,
            (4, [high, low]) => base = u32::from(u16::from_be_bytes([*high, *low])) << 16,
            (3 | 5, _) => {}
            _ => return Err(wrong("the record's type is not known")),
        }
    }
    Err("it ends without its end record".to_owned())
}

fn bytes_of(digits: &str) -> Option<Vec<u8>> {
    if !digits.len().is_multiple_of(2) {
        return None;
    }
    let digits = digits.as_bytes().chunks_exact(2);
    digits
        .map(|pair| {
            let pair = std::str::from_utf8(pair).ok()?;
            u8::from_str_radix(pair, 16)
                .ok()
                .filter(|_| !pair.starts_with('+'))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The data and end records of the specification's form; sums worked out by hand.
    #[test]
    fn records_become_bytes() {
        let text = ":0400000001020304F2\n:020000040001F9\n:01000000AA55\n:00000001FF\n";
        let parts = intel_hex(text, 0x2_0000).unwrap();
        assert_eq!(parts, [(0, vec![1, 2, 3, 4]), (0x1_0000, vec![0xAA])]);
    }

    #[test]
    fn damage_is_found() {
        let whole = ":0400000001020304F2\n:00000001FF\n";
        assert!(intel_hex(whole, 4).is_ok());
        assert!(intel_hex(whole, 3).unwrap_err().contains("beyond"));
        for (text, why) in [
            (":0400000001020304F3\n", "checksum"),
            (":04000000010203\n", "not as long"),
            ("0400000001020304F2\n", "begins with"),
            (":04zz\n", "hex digits"),
            (":0\n", "hex digits"),
            (":00\n", "cut short"),
            (":0400000001020304F2\n", "without its end"),
            (":000000090F7\n", "hex digits"),
            (":00000009F7\n", "type is not known"),
        ] {
            let error = intel_hex(text, 100).unwrap_err();
            assert!(error.contains(why), "{text:?}: {error}");
        }
    }
}
