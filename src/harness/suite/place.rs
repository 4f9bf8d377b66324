//! Where results go: trying a place before a long run, and writing whole files or none.

use crate::trace::write_atomically;
use std::io::{self, Write};
use std::path::Path;

/// Bytes written on trial: a folder on a full disk takes an empty file but no contents.
const TRIAL_BYTES: usize = 8192;

/// Makes a folder if it is missing and tries to write in it; nothing stays behind but the folder.
///
/// # Errors
/// If it cannot be made, is no folder, is read-only or its disk is full.
pub fn try_folder(folder: &Path) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let mut trial = tempfile::Builder::new()
        .prefix(".trial-")
        .tempfile_in(folder)?;
    trial.write_all(&[0; TRIAL_BYTES])?;
    trial.as_file().sync_all()
}

/// Tries the folder of a file that will be written with [`write_whole`].
///
/// # Errors
/// As [`try_folder`]; also if something that is not a regular file is in the way.
pub fn try_file(file: &Path) -> io::Result<()> {
    if std::fs::metadata(file).is_ok_and(|meta| !meta.is_file()) {
        return Err(io::Error::new(
            io::ErrorKind::AlreadyExists,
            "something that is not a file is in the way",
        ));
    }
    try_folder(folder_of(file))
}

/// Writes a file whole or not at all: see [`write_atomically`].
///
/// # Errors
/// If the folder cannot be written, or its disk is full; a file that was there stays as it was.
pub fn write_whole(file: &Path, contents: &[u8]) -> io::Result<()> {
    write_atomically(file, |out| out.write_all(contents))
}

fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect()
    }

    #[test]
    fn a_trial_makes_the_folder_and_leaves_it_empty() {
        let root = tempfile::tempdir().unwrap();
        let folder = root.path().join("a/b");
        try_folder(&folder).unwrap();
        assert!(names(&folder).is_empty());
    }

    #[test]
    fn what_is_in_the_way_is_refused() {
        let root = tempfile::tempdir().unwrap();
        let file = root.path().join("file");
        std::fs::write(&file, "x").unwrap();
        assert!(try_folder(&file).is_err());
        assert!(try_folder(&file.join("below")).is_err());
        assert!(try_file(root.path()).is_err());
        assert!(try_file(Path::new("/dev/full")).is_err());
        assert!(try_file(&file).is_ok());
    }

    #[test]
    fn a_file_is_replaced_whole_and_nothing_else_stays() {
        let root = tempfile::tempdir().unwrap();
        let file = root.path().join("out.xml");
        write_whole(&file, b"one").unwrap();
        write_whole(&file, b"two").unwrap();
        assert_eq!(std::fs::read(&file).unwrap(), b"two");
        assert_eq!(names(root.path()), ["out.xml"]);
        assert!(write_whole(&root.path().join("none/out.xml"), b"x").is_err());
    }
}
