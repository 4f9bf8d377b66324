//! Writing a file whole or not at all.

use std::fs::{File, Metadata};
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::time::Duration;

/// Names of files that are not whole yet: `.trimproof-`, something random, `.part` or `.trial`.
pub(crate) const PART_PREFIX: &str = ".trimproof-";
/// End of the name of a file that is being written.
const PART_SUFFIX: &str = ".part";
/// End of the name of a file by which a folder is tried.
pub(crate) const TRIAL_SUFFIX: &str = ".trial";

/// Age at which a file that nobody holds is taken for one of a process that was killed: far above
/// the time between making a file and locking it.
const STALE_AFTER: Duration = Duration::from_secs(60);

/// Removes what processes that were killed left in a folder: temporary files of ours that no living
/// process holds a lock on, and that are older than a minute. `fresh` was just made in the folder:
/// its time stamp gives the age, so only the clock of the file system is asked.
///
/// What cannot be looked at or removed stays: it is not the business of this run.
pub(crate) fn remove_stale(folder: &Path, fresh: &Metadata) {
    let Ok(now) = fresh.modified() else {
        return;
    };
    let Ok(entries) = std::fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let Some(name) = name.to_str() else { continue };
        let is_ours = name.starts_with(PART_PREFIX)
            && (name.ends_with(PART_SUFFIX) || name.ends_with(TRIAL_SUFFIX));
        // Of a link this is the link, not what it leads to; to open a pipe would wait.
        let Some(meta) = entry
            .metadata()
            .ok()
            .filter(|meta| is_ours && meta.is_file())
        else {
            continue;
        };
        let age = meta
            .modified()
            .ok()
            .and_then(|made| now.duration_since(made).ok());
        if age.is_none_or(|age| age < STALE_AFTER) {
            continue;
        }
        let Ok(file) = File::options().write(true).open(entry.path()) else {
            continue;
        };
        // The system lets go of a lock when its process ends, however it ends.
        if file.try_lock().is_ok() {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Writes `path` by `write`: into a temporary file beside it, which takes the name only when all is
/// on the disk.
///
/// A process that is killed leaves the temporary file; the next run that tries the folder removes
/// it.
///
/// # Errors
/// Whatever the system or `write` says; nothing is left then, and a file that was there stays as it
/// was.
pub fn write_atomically(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> io::Result<()> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(PART_PREFIX).suffix(PART_SUFFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As any new file: the system takes the user's mask off.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let mut temporary = builder.tempfile_in(folder)?;
    // Shows that we live. Not every file system has locks; there nothing is ever removed either.
    let _ = temporary.as_file().try_lock();
    let mut buffered = BufWriter::with_capacity(1 << 16, temporary.as_file_mut());
    write(&mut buffered)?;
    buffered.flush()?;
    drop(buffered);
    temporary.as_file().sync_all()?;
    temporary.persist(path).map_err(|refused| refused.error)?;
    // The new name must outlive a power cut too; not every system lets a folder be synced.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}
