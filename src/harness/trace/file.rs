//! Writing a file whole or not at all.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// Writes `path` by `write`: into a temporary file beside it, which takes the name only when all is on the disk.
///
/// # Errors
/// Whatever the system or `write` says; nothing is left then, and a file that was there stays as it was.
pub fn write_atomically(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> io::Result<()> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".trimproof-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As any new file: the system takes the user's mask off.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let mut temporary = builder.tempfile_in(folder)?;
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
