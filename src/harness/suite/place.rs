//! Where results go: trying a place before a long run, and writing whole files or none.

use crate::trace::{PART_PREFIX, TRIAL_SUFFIX, remove_stale, write_atomically};
use std::io::{self, Read, Write};
use std::path::Path;

/// Bytes written on trial: a folder on a full disk takes an empty file but no contents.
const TRIAL_BYTES: usize = 8192;

/// Bytes at the beginning of a report in which its first mark stands.
const REPORT_BEGINS_WITHIN: u64 = 64;

/// Makes a folder if it is missing and tries to write in it; nothing stays behind but the folder.
/// What a killed process of ours left in it is removed.
///
/// # Errors
/// If it cannot be made, is no folder, is read-only or its disk is full.
pub fn try_folder(folder: &Path) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let mut trial = tempfile::Builder::new()
        .prefix(PART_PREFIX)
        .suffix(TRIAL_SUFFIX)
        .tempfile_in(folder)?;
    trial.write_all(&[0; TRIAL_BYTES])?;
    trial.as_file().sync_all()?;
    if let Ok(fresh) = trial.as_file().metadata() {
        remove_stale(folder, &fresh);
    }
    Ok(())
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

/// Removes the report of an earlier run, so that it is never taken for this one's. A file that is
/// neither empty nor begins with `<`, as XML and HTML do, is no report: it stays.
///
/// # Errors
/// [`io::ErrorKind::InvalidData`] if it is no report; else if it cannot be read or removed.
pub fn remove_old(file: &Path) -> io::Result<()> {
    let is_file = match std::fs::metadata(file) {
        Ok(meta) => meta.is_file(),
        Err(_) => return Ok(()),
    };
    if !is_file {
        // Refused later, with its own words.
        return Ok(());
    }
    let mut beginning = Vec::new();
    std::fs::File::open(file)?
        .take(REPORT_BEGINS_WITHIN)
        .read_to_end(&mut beginning)?;
    let text = beginning
        .strip_prefix(b"\xef\xbb\xbf")
        .unwrap_or(&beginning);
    match text.trim_ascii_start().first() {
        None | Some(b'<') => std::fs::remove_file(file),
        Some(_) => Err(io::Error::new(
            io::ErrorKind::InvalidData,
            "it exists and is no report",
        )),
    }
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
    fn what_a_killed_process_left_is_removed_and_nothing_else() {
        let root = tempfile::tempdir().unwrap();
        let make = |name: &str, age_s: u64| {
            let file = std::fs::File::create(root.path().join(name)).unwrap();
            let now = file.metadata().unwrap().modified().unwrap();
            file.set_modified(now - std::time::Duration::from_secs(age_s))
                .unwrap();
            file
        };
        for name in [".trimproof-a.part", ".trimproof-b.trial"] {
            drop(make(name, 3600));
        }
        for name in [
            ".trimproof-c.toml",
            "x.part",
            ".trimproof.part",
            "trimproof-d.part",
        ] {
            drop(make(name, 3600));
        }
        drop(make(".trimproof-young.part", 5));
        // A process that still writes, stopped for an hour.
        let held = make(".trimproof-held.part", 3600);
        held.try_lock().unwrap();
        let mut left = [
            ".trimproof-c.toml",
            ".trimproof-held.part",
            ".trimproof-young.part",
            ".trimproof.part",
            "trimproof-d.part",
            "x.part",
        ];
        left.sort_unstable();
        try_folder(root.path()).unwrap();
        let mut names = names(root.path());
        names.sort_unstable();
        assert_eq!(names, left);
        // It ends, by whatever end.
        drop(held);
        try_folder(root.path()).unwrap();
        assert!(!root.path().join(".trimproof-held.part").exists());
    }

    #[test]
    fn an_old_report_goes_and_nothing_else_does() {
        let root = tempfile::tempdir().unwrap();
        let file = root.path().join("out.xml");
        for old in ["", "<?xml version=\"1.0\"?>", "\u{feff} \n<!DOCTYPE html>"] {
            std::fs::write(&file, old).unwrap();
            remove_old(&file).unwrap();
            assert!(!file.exists(), "{old:?}");
        }
        remove_old(&file).unwrap();
        std::fs::write(&file, "title = \"a scenario\"").unwrap();
        let refused = remove_old(&file).unwrap_err();
        assert_eq!(refused.kind(), io::ErrorKind::InvalidData);
        assert!(file.exists());
        remove_old(root.path()).unwrap();
        assert!(root.path().exists());
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
