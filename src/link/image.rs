//! Firmware images: which machine they are for.

use crate::error::LinkError;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// A machine that can be emulated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Machine {
    /// ARM Cortex-M3 on the LM3S6965 evaluation board.
    CortexM,
    /// 8-bit AVR, ATmega2560.
    Avr,
}

/// Reads from an ELF file's header which machine it is for. Offsets and numbers: ELF header,
/// `e_machine` (Tool Interface Standard, ELF specification 1.2; System V ABI: 40 is EM_ARM, 83 is
/// EM_AVR).
///
/// # Errors
/// It cannot be read, is no ELF file, or is for a machine that is not emulated.
pub fn machine_of(file: &Path) -> Result<Machine, LinkError> {
    let name = file.display().to_string();
    let mut head = Vec::new();
    // To open a pipe would wait for its other end.
    if std::fs::metadata(file).is_ok_and(|meta| !meta.is_file()) {
        return Err(LinkError::NotAnImage {
            file: name,
            why: "it is not a regular file".to_owned(),
        });
    }
    File::open(file)
        .and_then(|file| file.take(20).read_to_end(&mut head))
        .map_err(|error| LinkError::NoImage {
            file: name.clone(),
            why: match error.kind() {
                std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
                _ => error.to_string(),
            },
        })?;
    let wrong = |why: String| LinkError::NotAnImage {
        file: name.clone(),
        why,
    };
    if !head.starts_with(b"\x7fELF") {
        return Err(wrong("it is no ELF file".to_owned()));
    }
    let [.., low, high] = head.as_slice() else {
        return Err(wrong("it is cut short".to_owned()));
    };
    if head.len() < 20 {
        return Err(wrong("it is cut short".to_owned()));
    }
    match u16::from_le_bytes([*low, *high]) {
        40 => Ok(Machine::CortexM),
        83 => Ok(Machine::Avr),
        other => Err(wrong(format!(
            "it is for machine {other}; emulated are ARM (40) and AVR (83)"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_machine_is_read_and_what_is_no_image_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let try_it = |bytes: &[u8]| {
            let file = folder.path().join("image.elf");
            std::fs::write(&file, bytes).unwrap();
            machine_of(&file)
        };
        let elf = |machine: u8| {
            let mut head = vec![0; 64];
            head[..5].copy_from_slice(b"\x7fELF\x01");
            head[18] = machine;
            head
        };
        assert_eq!(try_it(&elf(40)), Ok(Machine::CortexM));
        assert_eq!(try_it(&elf(83)), Ok(Machine::Avr));
        for (bytes, word) in [
            (elf(62), "machine 62"),
            (b"hello".to_vec(), "no ELF"),
            (Vec::new(), "no ELF"),
            (elf(40)[..19].to_vec(), "cut short"),
            (elf(40)[..4].to_vec(), "cut short"),
        ] {
            let error = try_it(&bytes).unwrap_err();
            assert!(error.to_string().contains(word), "{error}");
            assert!(error.is_usage());
        }
        let missing = machine_of(&folder.path().join("none.elf")).unwrap_err();
        assert!(missing.to_string().contains("no such file"), "{missing}");
    }
}
