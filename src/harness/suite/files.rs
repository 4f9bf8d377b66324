//! Reading the text files of a suite, with limits, and saying what is wrong with them.

use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use trimproof_diagnostics::FileError;

/// Largest scenario or rig file that is read, bytes.
///
/// The longest hand-written file is a few kilobytes; a larger one was named by mistake.
pub const MAX_FILE_BYTES: u64 = 1 << 20;

/// What is wrong with one file, with the text it stands in.
#[derive(Clone, Debug)]
pub struct Problem {
    /// The file, as the user named it.
    pub file: PathBuf,
    /// Its text, if it could be read: the error's span lies in it.
    pub text: Option<Arc<str>>,
    /// What is wrong.
    pub error: FileError,
}

impl Problem {
    /// A problem with a file as a whole.
    pub fn new(file: &Path, error: FileError) -> Self {
        Self {
            file: file.to_owned(),
            text: None,
            error,
        }
    }

    /// A problem at a place in the text of a file.
    pub fn within(file: &Path, text: &Arc<str>, error: FileError) -> Self {
        Self {
            file: file.to_owned(),
            text: Some(Arc::clone(text)),
            error,
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.file.display(), self.error)
    }
}

impl std::error::Error for Problem {}

/// Reads a text file.
///
/// # Errors
/// If it is missing, not a regular file, larger than [`MAX_FILE_BYTES`] (found out before it is
/// read), unreadable, or not UTF-8.
pub fn read_text(path: &Path) -> Result<Arc<str>, Problem> {
    read_text_within(path, MAX_FILE_BYTES)
}

/// Reads a text file of at most `most` bytes.
///
/// # Errors
/// As [`read_text`], with this limit.
pub fn read_text_within(path: &Path, most: u64) -> Result<Arc<str>, Problem> {
    let fail = |message: String| Problem::new(path, FileError::new(message));
    let meta = std::fs::metadata(path)
        .map_err(|error| fail(format!("cannot be opened: {}", plain(&error))))?;
    if meta.is_dir() {
        return Err(fail("is a folder, not a file".to_owned()));
    }
    if !meta.is_file() {
        return Err(fail("is not a regular file".to_owned()));
    }
    let limit = |bytes: u64| {
        fail(format!(
            "is too large: `{bytes}` bytes, at most {most} are read"
        ))
    };
    if meta.len() > most {
        return Err(limit(meta.len()));
    }
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(most + 1).read_to_end(&mut bytes))
        .map_err(|error| fail(format!("cannot be read: {}", plain(&error))))?;
    if bytes.len() as u64 > most {
        return Err(limit(bytes.len() as u64));
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(text.into()),
        Err(error) => {
            let at = error.utf8_error().valid_up_to();
            let line = error.as_bytes()[..at]
                .iter()
                .filter(|byte| **byte == b'\n')
                .count()
                + 1;
            Err(fail(format!(
                "is not UTF-8 text: bad byte `0x{:02x}` in line {line}",
                error.as_bytes()[at]
            )))
        }
    }
}

/// An operating-system error in plain words, without its number.
pub fn plain(error: &std::io::Error) -> String {
    let text = error.to_string();
    let text = text.split(" (os error").next().unwrap_or(&text);
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(chars).collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn message(bytes: &[u8]) -> String {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(bytes).unwrap();
        read_text(file.path()).unwrap_err().error.message
    }

    #[test]
    fn a_good_file_is_read_whole() {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all("ä = 1\n".as_bytes()).unwrap();
        assert_eq!(&*read_text(file.path()).unwrap(), "ä = 1\n");
    }

    #[test]
    fn the_limit_counts_bytes() {
        let at_limit = vec![b' '; MAX_FILE_BYTES as usize];
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(&at_limit).unwrap();
        assert!(read_text(file.path()).is_ok());
        file.write_all(b" ").unwrap();
        assert!(
            read_text(file.path())
                .unwrap_err()
                .error
                .message
                .starts_with("is too large: `1048577` bytes")
        );
    }

    #[test]
    fn what_is_no_text_is_refused_with_its_line() {
        assert_eq!(
            message(b"a = 1\nb = \xff\n"),
            "is not UTF-8 text: bad byte `0xff` in line 2"
        );
        // A character cut off at the end of the file is found as well.
        assert_eq!(
            message(b"\xc3"),
            "is not UTF-8 text: bad byte `0xc3` in line 1"
        );
    }

    #[test]
    fn folders_devices_and_missing_files_are_distinguished() {
        let folder = tempfile::tempdir().unwrap();
        let of = |path: &Path| read_text(path).unwrap_err().error.message;
        assert_eq!(of(folder.path()), "is a folder, not a file");
        assert_eq!(
            of(&folder.path().join("none.toml")),
            "cannot be opened: no such file or directory"
        );
        assert_eq!(of(Path::new("/dev/zero")), "is not a regular file");
    }
}
