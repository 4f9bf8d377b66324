//! The shipped scenarios, for the tests that run them all.

use std::path::{Path, PathBuf};
use trimproof_harness::laws;
use trimproof_harness::suite::{Case, load};

/// Every shipped scenario on each of its rigs.
pub fn shipped() -> Vec<Case> {
    in_folder("scenarios")
}

/// Every scenario of one of the repository's folders, on each of its rigs.
pub fn in_folder(folder: &str) -> Vec<Case> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the scenarios folder is there")
        .map(|entry| entry.expect("it can be listed").path())
        .filter(|path| {
            path.extension()
                .is_some_and(|extension| extension == "toml")
                && path.file_name() != Some(laws::FILE_NAME.as_ref())
        })
        .collect();
    files.sort();
    load(&files, None).unwrap_or_else(|problems| panic!("{problems:?}"))
}
